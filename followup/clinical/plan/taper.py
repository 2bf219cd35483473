"""Tapers: from named steps to daily counts, and from several to the one that covers them all."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from datetime import date, timedelta
from itertools import groupby

from followup.clinical.careplan import Course, Step
from followup.clinical.protocol.rule import StepDef
from followup.timing.calendar import every_day


def daily_counts(steps: Sequence[StepDef], hourly: int) -> tuple[int, ...]:
    """The count of every day of the course. ``hourly`` is how many drops a day that word means."""
    counts: list[int] = []
    below = 1
    numbers: list[int] = []
    for step in reversed(steps):
        below = max(below, _number(step.count, hourly)) if isinstance(step.count, str) else step.count
        numbers.append(below)
    for step, number in zip(steps, reversed(numbers), strict=True):
        counts += [number] * step.days
    return tuple(counts)


def _number(count: int | str, hourly: int) -> int:
    if count == "hourly":
        return hourly
    if count == "2-hourly":
        return -(-hourly // 2)
    return int(count)


def envelope(courses: Sequence[tuple[int, ...]]) -> tuple[int, ...]:
    """The day-by-day upper envelope: on every day the highest count of all, never the sum."""
    length = max(map(len, courses), default=0)
    return tuple(max((c[day] for c in courses if day < len(c)), default=0) for day in range(length))


def winners(courses: Sequence[tuple[int, ...]]) -> tuple[int, ...]:
    """Which courses (by index) make the envelope: each day goes to one that reaches it, the longest first."""
    top = envelope(courses)
    order = sorted(range(len(courses)), key=lambda i: (-len(courses[i]), -sum(courses[i]), i))
    needed = [
        next(i for i in order if day < len(courses[i]) and courses[i][day] == n) for day, n in enumerate(top)
    ]
    return tuple(sorted(set(needed)))


def as_steps(counts: Sequence[int], start: date) -> tuple[Step, ...]:
    """Steps of equal counts from ``start`` on; days without a drop are left out."""
    steps: list[Step] = []
    day = start
    for count, run in groupby(counts):
        days = len(list(run))
        if count:
            steps.append(Step(start=day, days=days, count=count))
        day += timedelta(days=days)
    return tuple(steps)


def cut_from(steps: Sequence[Step], day: date) -> tuple[Step, ...]:
    """The part of a course that lies before ``day``."""
    kept = []
    for step in steps:
        days = min(step.days, (day - step.start).days)
        if days > 0:
            kept.append(step.model_copy(update={"days": days}))
    return tuple(kept)


def merged_by_mouth(courses: Sequence[Course]) -> tuple[Course, ...]:
    """Two eyes that ask for the same medicine by mouth ask for it once, from the first day to the last."""
    merged: dict[str, Course] = {}
    for course in courses:
        other = merged.get(course.key)
        merged[course.key] = course if other is None else _together(other, course)
    return tuple(merged.values())


def _together(one: Course, two: Course) -> Course:
    steps = joined_steps((one, two), max)
    if not steps:
        return one
    reasons = tuple(dict.fromkeys((*one.reasons, *two.reasons)))
    return one.model_copy(update={"steps": steps, "reasons": reasons})


def joined_steps(
    courses: Collection[Course], of_day: Callable[[Iterable[int]], int] = sum
) -> tuple[Step, ...]:
    """Several courses as the steps of one; ``of_day``: their counts of one day added up, or the highest."""
    days = [day for course in courses for step in course.steps for day in (step.start, step.end)]
    if not days:
        return ()
    every = every_day(min(days), max(days))
    return as_steps([of_day(course.count_on(day) for course in courses) for day in every], min(days))


def daily_totals(courses: Iterable[Course]) -> dict[date, int]:
    """What the courses count together on each of their days, in order of dates."""
    totals: dict[date, int] = {}
    for course in courses:
        for step in course.steps:
            for day in every_day(step.start, step.end):
                totals[day] = totals.get(day, 0) + step.count
    return dict(sorted(totals.items()))


def counts_each_day(steps: Iterable[tuple[int, int]]) -> list[int]:
    """The count of every day of (count a day, days) steps."""
    return [count for count, days in steps for _ in range(days)]
