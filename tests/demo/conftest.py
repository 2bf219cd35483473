"""The sample clinic's store, for reading only: it is shared."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store


@pytest.fixture
def store(made: Any) -> Iterator[Store]:
    """The sample clinic's store; for reading only, it is shared."""
    yield from _opened(made.folder)


@pytest.fixture
def twin(made: Any) -> Iterator[Store]:
    """The store of the same clinic made a second time."""
    yield from _opened(made.twin)


def _opened(folder: Path) -> Iterator[Store]:
    opened = Store.open(sqlite_url(folder / "followup.sqlite3"))
    yield opened
    opened.close()
