"""Records that say no more than a test needs, and a plan told in day numbers."""

from __future__ import annotations

import copy
import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from in_words import DayNumber, Steps, Visits, Window, Windows, course_words, in_words, look_words

from followup.clinical.careplan import CarePlan, Caution, Course, Question, ReviewNeed, Trip
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import SAMPLE as SAMPLE_FOLDER
from followup.clinical.protocol.load import load_protocol
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record, parse_record

DAY0 = date(2026, 3, 2)  # a Monday


def pytest_assertrepr_compare(op: str, left: Any, right: Any) -> list[str] | None:
    """A figure of a plan that is not as expected is told in the words of the trade."""
    return in_words(op, left, right)


ROUTINE: dict[str, Any] = {
    "eye": "right",
    "eye_drawn": "right",
    "date": DAY0.isoformat(),
    "pad": True,
    "procedure": "phacoemulsification",
    "cut_mm": 2.4,
    "stitches": 0,
    "watertight": True,
    "chamber": "normal",
    "viscoelastic": {"removed": "all"},
    "lens": "bag",
    "antibiotic_in_chamber": True,
}
"""Uneventful surgery: a small watertight cut, lens in the bag, nothing left inside, nothing untold."""


@dataclass(frozen=True)
class Told:
    """A plan with its days as numbers from the last operation (0), the way clinical tables write them."""

    plan: CarePlan
    day0: date

    def number(self, day: date) -> int:
        return (day - self.day0).days

    def course(self, key: str) -> Course:
        return self.plan.course(key)

    def courses(self) -> dict[str, str]:
        """Every course with its state."""
        return {c.key: c.state for c in self.plan.courses}

    def steps(self, key: str) -> str:
        """ "4x7 3x7": count a day x days."""
        found = Steps(" ".join(f"{s.count}x{s.days}" for s in self.course(key).steps))
        found.about = course_words(key)
        return found

    def starts(self, key: str) -> int:
        return self.number(self.course(key).steps[0].start)

    def by_day(self, *keys: str) -> dict[int, int]:
        """Drops of these courses together on each day."""
        found: dict[int, int] = {}
        for course in self.plan.courses:
            if course.key in keys:
                for step in course.steps:
                    for i in range(step.days):
                        day = self.number(step.start) + i
                        found[day] = found.get(day, 0) + step.count
        return found

    def steroid(self, eye: str = "right") -> dict[int, int]:
        return self.by_day(f"{eye}:steroid", f"{eye}:steroid-weaker")

    def last(self, eye: str = "right") -> int | None:
        """L, the last steroid day."""
        day = self.plan.last_steroid_day.get(eye)
        if day is None:
            return None
        found = DayNumber(self.number(day))
        found.about = f"last day of the steroid, {eye} eye"
        return found

    def opened(self, key: str) -> list[int]:
        """The opening day of each bottle of a course."""
        return [self.number(b.opened) for b in self.plan.supply if b.course == key]

    def need(self, key: str) -> ReviewNeed:
        return next(n for n in self.plan.needs if n.key == key)

    def windows(self, state: str | None = None) -> Windows:
        """Every need (of that state) as earliest, target, latest."""
        found = Windows()
        for n in self.plan.needs:
            if state in (None, n.state):
                days = Window((self.number(n.earliest), self.number(n.target), self.number(n.latest)))
                days.about = look_words(n.key)
                found[n.key] = days
        return found

    def trip_days(self, *statuses: str) -> list[int]:
        return Visits(self.number(t.date) for t in self.plan.trips if not statuses or t.status in statuses)

    def trip(self, day: int) -> Trip:
        return next(t for t in self.plan.trips if self.number(t.date) == day)

    def asks(self) -> set[str]:
        return {q.id for q in self.plan.questions}

    def blocking(self) -> set[str]:
        """The questions without whose answer nobody can sign."""
        return {q.id for q in self.plan.questions if q.blocks}

    def question(self, id_: str) -> Question:
        return next(q for q in self.plan.questions if q.id == id_)

    def cautions(self) -> dict[str, str]:
        """Every caution with its level."""
        return {c.id: c.level for c in self.plan.cautions}

    def caution(self, id_: str) -> Caution:
        return next(c for c in self.plan.cautions if c.id == id_)

    def lost(self) -> dict[str, str]:
        """Every rule that lost, and to which."""
        return {o.rule: o.lost_to for o in self.plan.overridden}

    def rounds(self) -> list[tuple[int, int, str]]:
        """Every phase: first day, last day, "06 11 17 22"."""
        return [
            (self.number(p.start), self.number(p.end), " ".join(t.removesuffix(":00") for t in p.times))
            for p in self.plan.rounds
        ]


def person(
    *,
    operation: dict[str, Any] | None = None,
    eye: dict[str, Any] | None = None,
    other_eye: dict[str, Any] | None = None,
    conditions: dict[str, Any] | None = None,
    in_use: list[dict[str, Any]] | None = None,
    reviews: list[dict[str, Any]] | None = None,
    trips: list[dict[str, Any]] | None = None,
    more_operations: list[dict[str, Any]] | None = None,
    **patient: Any,
) -> dict[str, Any]:
    """A woman of 71, routine surgery on her right eye, with only what is given changed."""
    return {
        "patient": {
            "code": "T-1",
            "name": "Invented Person",
            "birth_date": "1954-06-11",
            "sex": "female",
            "language": "en",
            "drops_by": {"who": "relative", "name": "a niece"},
            "conditions": conditions or {},
            "eyes": {"right": eye or {}, "left": other_eye or {}},
            **patient,
        },
        "operations": [ROUTINE | (operation or {}), *(ROUTINE | o for o in more_operations or [])],
        "in_use": in_use or [],
        "reviews": [{"eye": "right", **review} for review in reviews or []],
        "trips": trips or [],
    }


def day(number: int) -> str:
    """The date of a day number, as records write it."""
    return (DAY0 + timedelta(days=number)).isoformat()


def tell(data: dict[str, Any] | Record, *, as_of: int | None = None, **more: Any) -> Told:
    """The sample protocol's plan for a record; ``as_of`` counts from its last operation."""
    record = data if isinstance(data, Record) else parse_record(copy.deepcopy(data))
    day0 = record.last_operation_day
    protocol = more.pop("protocol", None) or SAMPLE
    plan = build_plan(record, protocol, as_of=day0 + timedelta(days=as_of or 0), **more)
    return Told(plan, day0)


def read_case(name: str) -> dict[str, Any]:
    """One of the twelve operations, by the patient's first name."""
    folder = files("followup.demo").joinpath("cases")
    found = next(f for f in folder.iterdir() if f.name.endswith(f"-{name}.json"))
    read: dict[str, Any] = json.loads(found.read_text(encoding="utf-8"))
    return read


SAMPLE = load_protocol()


@pytest.fixture(scope="session")
def protocol() -> Protocol:
    return SAMPLE


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A clinic's own set of rules: the sample, copied, to be changed."""
    return Path(shutil.copytree(SAMPLE_FOLDER, tmp_path / "own"))


@pytest.fixture(scope="session")
def someone() -> Callable[..., dict[str, Any]]:
    return person


@pytest.fixture(scope="session")
def told() -> Callable[..., Told]:
    return tell


@pytest.fixture(scope="session")
def on_day() -> Callable[[int], str]:
    return day


@pytest.fixture(scope="session")
def case() -> Callable[[str], dict[str, Any]]:
    return read_case
