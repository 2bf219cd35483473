"""The sample clinic's store, for reading only: it is shared."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from followup.records.engine import sqlite_url
from followup.records.store import Store


@pytest.fixture
def store(made: Any) -> Iterator[Store]:
    """The sample clinic's store; for reading only, it is shared."""
    opened = Store.open(sqlite_url(made.folder / "followup.sqlite3"))
    yield opened
    opened.close()
