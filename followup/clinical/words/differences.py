"""The differences between two plans of one patient, as values, most important first.

What is said of them stands in :mod:`followup.clinical.words.differences_told`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal, TypeVar

from followup.clinical.careplan import CarePlan, Caution, Course, Question, ReviewNeed, Step, Trip
from followup.clinical.day_plan import Bottle
from followup.clinical.statuses import CAME, TO_COME


@dataclass(frozen=True)
class HandDiffers:
    """The plan must now be made by hand, or no longer."""

    by_hand: bool


@dataclass(frozen=True)
class QuestionDiffers:
    question: Question
    new: bool


@dataclass(frozen=True)
class CautionDiffers:
    """A caution that is new, gone, or of another level; at least one of the two is there."""

    was: Caution | None
    now: Caution | None


@dataclass(frozen=True)
class CourseDiffers:
    """One thing about a course. ``dose``: the strength of tablets alone; ``end``: its last day."""

    about: Literal["new", "gone", "medicine", "state", "steps", "dose", "end"]
    was: Course | None
    now: Course | None

    @property
    def course(self) -> Course:
        """The course as it is, or as it was where it is gone."""
        found = self.now or self.was
        assert found is not None
        return found


@dataclass(frozen=True)
class BottlesDiffer:
    """The bottles of one course: more, fewer, or opened on other days."""

    course: Course
    was: tuple[Bottle, ...]
    now: tuple[Bottle, ...]


@dataclass(frozen=True)
class TimesDiffer:
    """Clock times that are new to the patient or gone; neither: the same times on other dates."""

    new: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()


@dataclass(frozen=True)
class NeedDiffers:
    """A thing to look at: new, gone, with another window, or (``impossible``) with no day left."""

    was: ReviewNeed | None
    now: ReviewNeed | None
    impossible: bool = False


@dataclass(frozen=True)
class VisitDiffers:
    """A visit still to come that moved, is new, or is gone."""

    was: date | None
    now: date | None


Difference = (
    HandDiffers
    | QuestionDiffers
    | CautionDiffers
    | CourseDiffers
    | VisitDiffers
    | TimesDiffer
    | BottlesDiffer
    | NeedDiffers
)

_Key = TypeVar("_Key")
_Item = TypeVar("_Item")


def compare_plans(old: CarePlan, new: CarePlan) -> tuple[Difference, ...]:
    """What ``new`` changes of ``old``; empty where nothing differs that a reader could see."""
    return (
        *_by_hand(old, new),
        *_questions(old, new),
        *_cautions(old, new),
        *_courses(old, new),
        *_visits(old, new),
        *_times(old, new),
        *_bottles(old, new),
        *_needs(old, new),
    )


def _pairs(
    was: Mapping[_Key, _Item], now: Mapping[_Key, _Item]
) -> Iterator[tuple[_Item | None, _Item | None]]:
    """Each thing as it was and as it is; those that are there first, then those that are gone."""
    yield from ((was.get(key), item) for key, item in now.items())
    yield from ((item, None) for key, item in was.items() if key not in now)


def _by_hand(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    if bool(old.refused) != bool(new.refused):
        yield HandDiffers(bool(new.refused))


def _questions(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    before, after = ({(q.id, q.eye): q for q in plan.questions} for plan in (old, new))
    for was, now in _pairs(before, after):
        if was is None and now is not None:
            yield QuestionDiffers(now, new=True)
        elif was is not None and now is None:
            yield QuestionDiffers(was, new=False)


def _cautions(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    before, after = ({(c.id, c.eye, c.text): c for c in plan.cautions} for plan in (old, new))
    for was, now in _pairs(before, after):
        if was is None or now is None or was.level != now.level:
            yield CautionDiffers(was, now)


def _courses(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    before, after = ({c.key: c for c in plan.courses} for plan in (old, new))
    for was, now in _pairs(before, after):
        if was is None or now is None:
            yield CourseDiffers("new" if was is None else "gone", was, now)
        else:
            yield from _course(was, now)


def _course(was: Course, now: Course) -> Iterator[Difference]:
    if was.medicine != now.medicine:
        yield CourseDiffers("medicine", was, now)
    if was.state != now.state:
        yield CourseDiffers("state", was, now)
    no_end = was.goes_on or now.goes_on
    before, after = _ordered(was, no_end), _ordered(now, no_end)
    if before != after:
        counts = [[step[:3] for step in steps] for steps in (before, after)]
        yield CourseDiffers("steps" if counts[0] != counts[1] else "dose", was, now)
    if now.last_day is not None and not now.goes_on and (was.goes_on or was.last_day != now.last_day):
        yield CourseDiffers("end", was, now)


def _ordered(course: Course, no_end: bool) -> list[tuple[date, int, int | None, float | None, float | None]]:
    """The steps as they are ordered, with ``no_end`` without the days of the last, which nobody ordered."""
    steps = [(s.start, s.count, s.days, s.mg, s.tablets) for s in course.steps]
    open_end = len(steps) - 1 if no_end else None
    return [
        (start, count, None if i == open_end else days, mg, tablets)
        for i, (start, count, days, mg, tablets) in enumerate(steps)
    ]


def _visits(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    now = sorted({t.date for t in new.trips if t.status in TO_COME})
    coming = [t for t in old.trips if t.status in TO_COME]
    was = sorted({t.date for t in coming if t.date in now or not _took_place(t, old, new)})
    gone, fresh = ([d for d in days if d not in others] for days, others in ((was, now), (now, was)))
    moved = dict(_nearest(gone, fresh))
    yield from (VisitDiffers(before, moved.get(before)) for before in gone)
    yield from (VisitDiffers(None, after) for after in fresh if after not in moved.values())


def _took_place(trip: Trip, old: CarePlan, new: CarePlan) -> bool:
    """Whether the patient came since ``old``, on a day that was right for this visit."""
    came = ({t.date for t in p.trips if t.status in CAME} for p in (new, old))
    return any(trip.window_start <= day <= trip.window_end for day in next(came) - next(came))


def _nearest(gone: list[date], fresh: list[date]) -> Iterator[tuple[date, date]]:
    """Each visit that moved with its new day, the shortest moves first; each day once."""
    left = sorted((abs(b - a), a, b) for a in gone for b in fresh)
    while left:
        _, was, now = left[0]
        yield was, now
        left = [pair for pair in left if pair[1] != was and pair[2] != now]


def _times(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    was, now = ({time for phase in plan.rounds for time in phase.times} for plan in (old, new))
    if was != now:
        yield TimesDiffer(tuple(sorted(now - was)), tuple(sorted(was - now)))
    elif [(p.start, p.times) for p in old.rounds] != [(p.start, p.times) for p in new.rounds]:
        yield TimesDiffer()


def _bottles(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    courses = {c.key: c for plan in (old, new) for c in plan.courses}
    for key, course in courses.items():
        was, now = (_of_course(plan, key) for plan in (old, new))
        if [b.opened for b in was] != [b.opened for b in now]:
            yield BottlesDiffer(course, was, now)


def _of_course(plan: CarePlan, key: str) -> tuple[Bottle, ...]:
    """The bottles of a course; tablets are counted by visit, and the visits are compared themselves."""
    return tuple(b for b in plan.supply if b.course == key and b.units is None)


def _needs(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    before, after = ({n.key: n for n in plan.needs} for plan in (old, new))
    for was, now in _pairs(before, after):
        if was is None or now is None or was.window != now.window:
            yield NeedDiffers(was, now)
        if now and now.state == "impossible" and (was is None or was.state != "impossible"):
            yield NeedDiffers(was, now, impossible=True)


def runs(steps: tuple[Step, ...]) -> tuple[Step, ...]:
    """The steps with equal doses that follow each other as one, and a pause between two as a step of 0."""
    found: list[Step] = []
    for step in steps:
        paused = (step.start - found[-1].end).days - 1 if found else 0
        if paused > 0:
            found.append(Step(start=found[-1].end + timedelta(days=1), days=paused, count=0))
        before = found[-1] if found else None
        if before and (before.count, before.mg, before.tablets) == (step.count, step.mg, step.tablets):
            found[-1] = before.model_copy(update={"days": before.days + step.days})
        else:
            found.append(step)
    return tuple(found)
