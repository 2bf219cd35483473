"""The sample clinic, made once for all tests of this folder, and once more to compare."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest

from followup.records.engine import sqlite_url
from followup.records.store import Store

PROGRAM = Path(sys.executable).with_name("followup")
TODAY = date(2027, 3, 10)  # a Wednesday; the clocks of the sample clinic change 18 days later


@dataclass(frozen=True)
class Made:
    """Two folders from the same seed and day, and what the program said."""

    folder: Path
    twin: Path
    today: date
    said: tuple[tuple[int, str, str], ...]


def environment() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if not name.startswith("FOLLOWUP_")}


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """``followup demo --no-serve`` run twice, side by side."""
    folders = [tmp_path_factory.mktemp("demo") / name for name in ("first", "second")]
    options = ["--no-serve", "--on", TODAY.isoformat(), "--seed", "7"]
    running = [
        subprocess.Popen(
            [str(PROGRAM), "demo", "--folder", str(folder), *options],
            env={**environment(), "PYTHONHASHSEED": str(number), "TZ": ("UTC", "Asia/Tokyo")[number]},
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for number, folder in enumerate(folders)
    ]  # fmt: skip
    said = []
    for process in running:
        out, err = process.communicate(timeout=240)
        said.append((process.returncode, out, err))
    return Made(*folders, TODAY, tuple(said))


@pytest.fixture
def store(made: Made) -> Iterator[Store]:
    """The sample clinic's store; for reading only, it is shared."""
    opened = Store.open(sqlite_url(made.folder / "followup.sqlite3"))
    yield opened
    opened.close()
