"""The sample clinic made twice by the program itself: as files, and as pages for a visitor."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

import httpx2
import pytest

from followup.demo.build import PASSWORD
from followup.records.plans.plans import plans_in_force
from followup.records.plans.sheets import sheets_of
from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store
from followup.records.views import SheetView

PROGRAM = Path(sys.executable).with_name("followup")
PATIENCE = 900  # seconds: far longer than a busy computer takes; only what hangs is given up
TODAY = date(2027, 3, 10)  # a Wednesday; the clocks of the sample clinic change 18 days later
SEED = "7"
DATABASE = "followup.sqlite3"
EVERY = 4  # of so many sheets the twin prints one: setting them is most of what a clinic takes


@dataclass(frozen=True)
class Served:
    """What a throw-away clinic said before and after, the page that was there until it was told, what its
    pages showed, and what it left behind."""

    lines: list[str]
    rest: str
    errors: str
    code: int
    waiting: tuple[int, str]
    pages: dict[str, tuple[int, str]]
    left: list[str]


@dataclass(frozen=True)
class Made:
    """Two clinics from the same seed and day: the files of one, what the other's pages gave."""

    folder: Path
    twin: Path
    today: date
    said: tuple[int, str, str]
    served: Served


def made_once(home: Path) -> Made:
    """Made by the first worker of a run that asks; the others wait."""
    done = home / "said.json"
    try:
        home.mkdir()
    except FileExistsError:
        _wait_for(done)
    else:
        said, served = _run_both(home / "first", home / "second")
        done.with_suffix(".part").write_text(json.dumps([said, asdict(served)]), "utf-8")
        done.with_suffix(".part").rename(done)
    said, served = json.loads(done.read_text("utf-8"))
    return Made(home / "first", home / "second", TODAY, tuple(said), Served(**served))


def environment() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if not name.startswith("FOLLOWUP_")}


def _wait_for(path: Path) -> None:
    """Wait until another worker has made ``path``."""
    end = time.monotonic() + PATIENCE
    while not path.exists():
        if time.monotonic() > end:
            pytest.fail(f"no other worker made the sample clinics in {PATIENCE} s", pytrace=False)
        time.sleep(0.2)


def _run_both(first: Path, twin: Path) -> tuple[tuple[int, str, str], Served]:
    """The two differ in hash seed and time zone of the computer."""
    place = twin.with_name("thrown-away")
    place.mkdir()
    twin.mkdir()
    with (
        _start(["--folder", str(first), "--no-serve"], hash_seed="0", zone="UTC") as writing,
        _start([], hash_seed="1", zone="Asia/Tokyo", TMPDIR=str(place)) as server,
    ):
        try:
            assert server.stdout is not None
            lines = [server.stdout.readline() for _ in range(3)]
            address = lines[0].split()[1]
            waiting = _until_told(address)
            (database,) = place.rglob(DATABASE)
            with closing(sqlite3.connect(database)) as found:
                found.execute("vacuum into ?", (str(twin / DATABASE),))
            out, errors = writing.communicate(timeout=PATIENCE)
            pages = _visit(address, twin)
        finally:
            server.send_signal(signal.SIGTERM)
        rest, complaints = server.communicate(timeout=PATIENCE)
    left = [path.name for path in place.iterdir()]
    shutil.rmtree(place)
    served = Served(lines, rest, complaints, server.returncode, waiting, pages, left)
    return (writing.returncode, out, errors), served


def _start(options: list[str], *, hash_seed: str, zone: str, **more: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [str(PROGRAM), "demo", *options, "--on", TODAY.isoformat(), "--seed", SEED],
        env={**environment(), "PYTHONHASHSEED": hash_seed, "TZ": zone, **more},
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def _until_told(address: str) -> tuple[int, str]:
    """The first page that is there; back when the clinic itself answers."""
    end = time.monotonic() + PATIENCE
    first = answer = httpx2.get(address, timeout=PATIENCE)
    while answer.status_code == 503:
        if time.monotonic() > end:
            pytest.fail(f"the sample clinic was not told in {PATIENCE} s", pytrace=False)
        time.sleep(0.5)
        answer = httpx2.get(address, timeout=PATIENCE)
    return first.status_code, first.text


def _visit(address: str, twin: Path) -> dict[str, tuple[int, str]]:
    """Log in at reception as a browser would, look at the lists of the day, and print some sheets."""
    headers = {"sec-fetch-site": "same-origin", "origin": address.rstrip("/")}
    with httpx2.Client(base_url=address, headers=headers, follow_redirects=True, timeout=PATIENCE) as browser:
        answers: dict[str, Any] = {
            "/log-in": browser.post("/log-in", data={"login": "reception", "password": PASSWORD}),
            "/today": browser.get("/today"),
            "/to-reach": browser.get("/to-reach"),
        }
        (twin / "sheets").mkdir()
        for sheet in _sheets(twin / DATABASE)[::EVERY]:
            paper = browser.get(f"/sheets/{sheet.id}/paper.pdf")
            (twin / "sheets" / f"{sheet.patient_code}-{sheet.issue}.pdf").write_bytes(paper.content)
    return {path: (answer.status_code, answer.text) for path, answer in answers.items()}


def _sheets(database: Path) -> list[SheetView]:
    """The newest sheet of every patient whose plan is in force, as the program writes them into files."""
    store = Store.open(sqlite_url(database))
    with store.read() as session:
        valid = [
            [sheet for sheet in sheets_of(session, patient) if sheet.replaced_at is None]
            for patient in plans_in_force(session)
        ]
    store.close()
    return [sheets[-1] for sheets in valid if sheets]
