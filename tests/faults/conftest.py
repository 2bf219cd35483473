"""A clinic full of visits, workers that can be killed, and the table of what was counted."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest

from followup.recall.jobs.sweep import turned
from followup.records.jobs.upkeep import transitions
from followup.records.people.messages import choose_messages
from followup.records.plans.sheets import hand_over_sheet, issue_sheet
from followup.records.store.journal import verify_journal
from followup.records.store.store import Store
from followup.records.trips.trips import open_trips

ZONE = ZoneInfo("Asia/Kolkata")
PATIENTS = 10
SEED = 20270301


class Worker:
    """A process that forks a child for each order."""

    def __init__(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-W", "ignore", str(Path(__file__).with_name("worker.py"))],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )

    def _ask(self, told: object) -> list[int]:
        self.process.stdin.write(json.dumps(told) + "\n")
        self.process.stdin.flush()
        return json.loads(self.process.stdout.readline())

    def get_ready(self, work: str, **order) -> None:
        """Let the process do this itself, so that its children know how."""
        self._ask(ordered(work, **order))

    def together(self, *orders: dict[str, object]) -> list[int]:
        """Children that work at the same time; the exit code of each, negative for a signal."""
        return self._ask(orders)

    def run(self, work: str, **order) -> tuple[int, float]:
        """A child that is left alone: its exit code and how long it took."""
        begun = time.monotonic()
        return self.together(ordered(work, **order))[0], time.monotonic() - begun

    def kill(self, work: str, after: float, **order) -> bool:
        """A child that is killed ``after`` seconds; False if it had ended by then."""
        return self.together(ordered(work, kill=after, **order)) == [-signal.SIGKILL]

    def stop(self) -> None:
        self.process.stdin.close()
        self.process.wait(timeout=60)
        self.process.stdout.close()


def ordered(work: str, *, url: str, folder: Path, now: datetime, **more: object) -> dict[str, object]:
    """An order as it is told to a worker."""
    return {"work": work, "url": url, "folder": str(folder), "now": now.isoformat(), **more}


@pytest.fixture(scope="session")
def worker() -> Iterator[Worker]:
    started = Worker()
    yield started
    started.stop()


@pytest.fixture
def chance() -> random.Random:
    return random.Random(SEED)


@dataclass
class Counted:
    """One row of the table: what was done to the program, how often, and what was lost or doubled."""

    fault: str
    times: int = 0
    lost: Counter[str] = field(default_factory=Counter)
    doubled: Counter[str] = field(default_factory=Counter)
    note: str = ""


ROWS: list[Counted] = []


def _printed() -> list[str]:
    head = f"{'fault':58} {'times':>5} {'lost':>5} {'doubled':>7}  note"
    return [
        head,
        *(f"{r.fault:58} {r.times:5} {r.lost.total():5} {r.doubled.total():7}  {r.note}" for r in ROWS),
    ]


def pytest_terminal_summary(terminalreporter) -> None:
    """The table, at the end of a run in one process."""
    if ROWS:
        terminalreporter.section("faults")
        for line in _printed():
            terminalreporter.write_line(line)


@pytest.fixture(scope="session")
def table() -> Iterator[list[Counted]]:
    """Every row; written at the end to the file that FOLLOWUP_FAULT_TABLE names, if it names one."""
    yield ROWS
    target = os.environ.get("FOLLOWUP_FAULT_TABLE")
    if target and ROWS:
        with open(target, "a", encoding="utf-8") as file:
            file.write("\n".join(_printed()) + "\n")


@pytest.fixture
def count(table, request) -> Callable[..., Counted]:
    """A new row; where the test runs on both databases it says on which."""

    def one(fault: str) -> Counted:
        kind = getattr(request.node, "callspec", None) and request.node.callspec.params.get("database_kind")
        row = Counted(f"{fault}, {kind}" if kind else fault)
        table.append(row)
        return row

    return one


def fill(ward, patients: int = PATIENTS) -> list[int]:
    """Patients with signed plans in their hands who agreed to messages; the plans."""
    plans = []
    for number in range(patients):
        plan = ward.signed(f"K-{number}")
        plans.append(plan.id)
        with ward.store.write(ward.counsellor, ward.now) as unit:
            issue_sheet(unit, plan_id=plan.id, sheet_id=f"{number:010d}", language="en")
            hand_over_sheet(unit, sheet_id=f"{number:010d}", to="self")
            choose_messages(
                unit, patient_id=plan.patient_id, consent=True, channel="folder", address="+44 20 7946 0101"
            )
    return plans


@pytest.fixture
def full(ward):
    """A ward with ten patients, on each of both databases, and its address."""
    fill(ward)
    return ward, address_of(ward.store)


@pytest.fixture
def full_file(sqlite_ward):
    """The same on SQLite alone: for what only a file can suffer."""
    fill(sqlite_ward)
    return sqlite_ward, address_of(sqlite_ward.store)


def address_of(store: Store) -> str:
    return store.engine.url.render_as_string(hide_password=False)


def expected_transitions(store: Store, now: datetime) -> set[tuple[int, str, datetime]]:
    """What must have been noticed by ``now``, computed from the visits alone."""
    with store.read() as session:
        visits = open_trips(session)
    return {turn for visit in visits for turn in turned(visit, now, ZONE)}


def judge_transitions(row: Counted, store: Store, now: datetime) -> None:
    with store.read() as session:
        verify_journal(session)
        found = [(one.trip_id, one.kind, one.became_at) for one in transitions(session)]
    expected = expected_transitions(store, now)
    row.lost["transitions"] += len(expected - set(found))
    row.doubled["transitions"] += len(found) - len(set(found)) + len(set(found) - expected)


def lines(path: Path) -> list[str]:
    return path.read_text().splitlines() if path.exists() else []


def minutes(number: float) -> timedelta:
    return timedelta(minutes=number)


@pytest.fixture(scope="session")
def aid() -> SimpleNamespace:
    """The helpers above, for test modules that can't import them."""
    return SimpleNamespace(
        judge_transitions=judge_transitions,
        expected_transitions=expected_transitions,
        lines=lines,
        minutes=minutes,
        fill=fill,
        address_of=address_of,
        ordered=ordered,
    )
