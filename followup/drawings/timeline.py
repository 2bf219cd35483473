"""The time line of one operated eye: drops a day, findings, visits and decisions, day by day after surgery.

Values only; :mod:`followup.drawings.timeline_layout` draws them. Its words stand in
:mod:`followup.drawings.timeline_words`, in the language of the staff.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

from followup.clinical.careplan import CarePlan, Course
from followup.clinical.plan.taper import joined_steps
from followup.clinical.protocol.reviews import GRADES
from followup.clinical.record import Eye, Findings, Record
from followup.clinical.record.base import MedicineRole
from followup.said import say

VisitState = Literal["to come", "done", "missed"]
Name = Callable[[Course], str]

NOT_SEEN = "?"
_STATES: dict[str, VisitState] = {"arrived": "done", "fulfilled": "done", "noshow": "missed"}


@dataclass(frozen=True)
class Stretch:
    """The same count from day ``start`` to day ``end``, both included."""

    start: int
    end: int
    count: int


@dataclass(frozen=True)
class DrawnCourse:
    """A course beside the steroid: its name and its stretches."""

    name: str
    held: bool
    stretches: tuple[Stretch, ...]


@dataclass(frozen=True)
class LookMark:
    """What one look saw. ``cells`` is the place in the SUN grades; None: not seen. Pressure in mmHg."""

    day: int
    cells: int | None
    cells_word: str
    flare: str
    pressure: float | None
    pressure_word: str
    vision: str


@dataclass(frozen=True)
class VisitMark:
    day: int
    state: VisitState


@dataclass(frozen=True)
class Known:
    """What is known of an eye beside its plans and looks.

    ``expected``: from so many days after surgery on so many cells at most, as the place in the SUN
    grades; ``before``: the pressure before surgery in mmHg; ``decided``: the days on which a surgeon
    decided something; ``until``: the last day that is drawn, all of them where it is None.
    """

    expected: tuple[tuple[int, int], ...] = ()
    before: float | None = None
    decided: tuple[date, ...] = ()
    until: date | None = None


NOTHING_KNOWN = Known()


@dataclass(frozen=True)
class Timeline:
    """One eye. Days count from its latest operation, ``day0``; ``planned`` is the first version's
    steroid where the one in force differs from it. ``expected`` are the most cells expected, each from
    its day on."""

    eye: Eye
    day0: date
    last: int
    today: int
    steroid: tuple[Stretch, ...]
    steroid_held: bool
    planned: tuple[Stretch, ...]
    bottles: tuple[DrawnCourse, ...]
    looks: tuple[LookMark, ...]
    visits: tuple[VisitMark, ...]
    expected: tuple[tuple[int, int], ...] = ()
    before: float | None = None
    decided: tuple[int, ...] = ()

    @property
    def days(self) -> int:
        """How many days the drawing spans, day 0 included."""
        return self.last + 1

    def date(self, day: int) -> date:
        return self.day0 + timedelta(days=day)

    def count_on(self, day: int) -> int:
        return next((s.count for s in self.steroid if s.start <= day <= s.end), 0)

    def expected_on(self, day: int) -> str:
        """The most cells expected on that day as a SUN grade; nothing where none is known."""
        reached = [grade for start, grade in self.expected if start <= day]
        return GRADES[reached[-1]] if reached else ""


def build_timeline(
    plans: Sequence[CarePlan],
    record: Record,
    eye: Eye,
    as_of: date,
    *,
    name: Name | None = None,
    known: Known = NOTHING_KNOWN,
) -> Timeline:
    """The time line of ``eye`` from the signed versions of its plan, oldest first, the last in force.

    ``name`` gives a course the words for its medicine (else its id). Raises ValueError without a
    plan or without an operation of this eye.
    """
    operated = [o.date for o in record.operations if o.eye == eye and o.date <= as_of]
    if not plans or not operated:
        raise ValueError(say("a time line needs a plan and an operation of the eye"))
    day0 = max(operated)
    first, now = plans[0], plans[-1]
    steroid, planned = (_steroid(plan, eye, day0) for plan in (now, first))
    bottles = tuple(_bottles(now, eye, day0, name or (lambda course: course.medicine)))
    looks = tuple(_looks(record, eye, day0, as_of))
    visits = tuple(_visits(now, day0))
    ends = [s.end for s in (*steroid, *planned)] + [s.end for b in bottles for s in b.stretches]
    today = (as_of - day0).days
    last = max([7, today, *ends, *(v.day for v in visits), *(mark.day for mark in looks)])
    if known.until:
        last = max(7, today, min(last, (known.until - day0).days))
    return Timeline(
        eye=eye,
        day0=day0,
        last=last,
        today=today,
        steroid=_up_to(steroid, last),
        steroid_held=any(c.state == "held" for c in _of(now, eye, "steroid")),
        planned=_up_to(planned, last) if planned != steroid else (),
        bottles=tuple(replace(b, stretches=kept) for b in bottles if (kept := _up_to(b.stretches, last))),
        looks=looks,
        visits=tuple(visit for visit in visits if visit.day <= last),
        expected=tuple((day, grade) for day, grade in known.expected if day <= last),
        before=known.before,
        decided=tuple(sorted({(day - day0).days for day in known.decided if day0 <= day <= as_of})),
    )


def _up_to(stretches: Sequence[Stretch], last: int) -> tuple[Stretch, ...]:
    """What of them lies up to day ``last``."""
    return tuple(replace(s, end=min(s.end, last)) for s in stretches if s.start <= last)


def _of(plan: CarePlan, eye: Eye, role: MedicineRole) -> list[Course]:
    return [c for c in plan.courses if c.eye == eye and c.role == role and c.state != "stopped"]


def _steroid(plan: CarePlan, eye: Eye, day0: date) -> tuple[Stretch, ...]:
    return _stretches(_of(plan, eye, "steroid"), day0)


def _bottles(plan: CarePlan, eye: Eye, day0: date, name: Name) -> Iterator[DrawnCourse]:
    """Everything beside the steroid: tablets too, which are for no eye alone."""
    for course in plan.courses:
        if course.eye in (eye, None) and course.role != "steroid" and course.state != "stopped":
            stretches = _stretches([course], day0)
            if stretches:
                yield DrawnCourse(name(course), course.state == "held", stretches)


def _stretches(courses: Sequence[Course], day0: date) -> tuple[Stretch, ...]:
    """Courses as runs of days with one count, all added up; days before surgery are left out."""
    runs = (((s.start - day0).days, (s.end - day0).days, s.count) for s in joined_steps(courses))
    return tuple(Stretch(max(start, 0), end, count) for start, end, count in runs if end >= 0)


def _looks(record: Record, eye: Eye, day0: date, as_of: date) -> Iterator[LookMark]:
    """One mark a day; of two looks on one day the later."""
    mine = [r for r in record.reviews if r.eye == eye and day0 <= r.date <= as_of]
    by_day = {r.date: r for r in sorted(mine, key=lambda r: (r.date, r.time or ""))}
    for day, found in by_day.items():
        yield _mark((day - day0).days, found)


def _mark(day: int, found: Findings) -> LookMark:
    cells = found.cells if found.cells in GRADES else None
    pressure = found.pressure if isinstance(found.pressure, float) else None
    return LookMark(
        day=day,
        cells=GRADES.index(cells) if cells else None,
        cells_word=cells or NOT_SEEN,
        flare=found.flare if found.flare and found.flare != "not seen" else NOT_SEEN,
        pressure=pressure,
        pressure_word=f"{pressure:g}" if pressure is not None else NOT_SEEN,
        vision=found.vision or NOT_SEEN,
    )


def _visits(plan: CarePlan, day0: date) -> Iterator[VisitMark]:
    by_day: dict[int, VisitState] = {}
    for trip in plan.trips:
        day = (trip.date - day0).days
        if trip.status != "cancelled" and day >= 0:
            by_day[day] = _STATES.get(trip.status, "to come")
    yield from (VisitMark(day, by_day[day]) for day in sorted(by_day))
