"""The sample clinic, made once for all tests of this folder, and once more to compare."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest

from followup.records.engine import sqlite_url
from followup.records.store import Store

PROGRAM = Path(sys.executable).with_name("followup")
PATIENCE = 900  # seconds: far longer than a busy computer takes; only what hangs is given up
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
    """``followup demo --no-serve`` run twice, side by side; once for all workers of a run."""
    own = tmp_path_factory.getbasetemp()
    home = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "sample-clinics"
    folders, done = [home / "first", home / "second"], home / "said.json"
    try:
        home.mkdir()
    except FileExistsError:
        wait_for(done)
    else:
        said = run_both(folders)
        done.with_suffix(".part").write_text(json.dumps(said), "utf-8")
        done.with_suffix(".part").rename(done)
    return Made(*folders, TODAY, tuple((c, o, e) for c, o, e in json.loads(done.read_text("utf-8"))))


def wait_for(path: Path) -> None:
    """Wait until another worker has made ``path``."""
    end = time.monotonic() + PATIENCE
    while not path.exists():
        if time.monotonic() > end:
            pytest.fail(f"no other worker made the sample clinics in {PATIENCE} s", pytrace=False)
        time.sleep(0.2)


def run_both(folders: list[Path]) -> list[tuple[int, str, str]]:
    """Exit code, output and errors of each; the two differ in hash seed and time zone of the computer."""
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
        out, err = process.communicate(timeout=PATIENCE)
        said.append((process.returncode, out, err))
    return said


@pytest.fixture
def store(made: Made) -> Iterator[Store]:
    """The sample clinic's store; for reading only, it is shared."""
    opened = Store.open(sqlite_url(made.folder / "followup.sqlite3"))
    yield opened
    opened.close()
