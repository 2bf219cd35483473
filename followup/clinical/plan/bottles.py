"""Bottles and tablets of a whole plan: what each course takes, and which visit hands it over."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from followup.clinical.careplan import Course, FirstDropDay, Trip
from followup.clinical.day_plan import Bottle, DayPhase
from followup.clinical.facts.eye_rules import EyeRules
from followup.clinical.going_on import goes_on
from followup.clinical.plan.supply import Margin, simulate
from followup.clinical.plan.tablets import unit_supply
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Operation, Record
from followup.timing.waking import MINUTES_A_DAY, WakingHours, minutes_of


def draft_supply(
    courses: Sequence[Course],
    rounds: Sequence[DayPhase],
    trips: Sequence[Trip],
    eyes: Sequence[EyeRules],
    record: Record,
    protocol: Protocol,
    waking: WakingHours,
    as_of: date,
    first_drops: Sequence[FirstDropDay],
) -> tuple[Bottle, ...]:
    """What every active course needs, by course and in order of opening."""
    bottles: list[Bottle] = []
    for course in courses:
        medicine = protocol.formulary[course.medicine]
        if course.eye is None or medicine.single_dose:
            bottles += unit_supply(course, trips, as_of, rounds_more=_rounds_more(course, first_drops))
            continue
        if course.state != "active" or not course.steps:
            continue
        bottles += simulate(
            course,
            medicine.drops_per_bottle,
            medicine.open_days,
            today=as_of,
            trips=trips,
            first_day_doses=_doses_left_today(course, rounds, eyes, waking),
            rounds_more=_rounds_more(course, first_drops),
            margin=_margin(medicine, protocol),
            goes_on=goes_on(course, record),
        )
    return tuple(bottles)


def _margin(medicine: Medicine, protocol: Protocol) -> Margin:
    largest = medicine.largest_drop_ul or protocol.supply.largest_drop_ul
    return Margin(protocol.supply.left, medicine.drops_of(largest))


def _rounds_more(course: Course, first_drops: Sequence[FirstDropDay]) -> int:
    """The round before the sleep of a night worker, which comes before those of the course's first day."""
    return sum(
        first.at is not None and (first.eye, first.day) == (course.eye, course.first_day)
        for first in first_drops
        if not course.from_before
    )


def _doses_left_today(
    course: Course, rounds: Sequence[DayPhase], eyes: Sequence[EyeRules], waking: WakingHours
) -> int | None:
    """On the day of surgery only the rounds after the end of the operation are still to come."""
    eye = next((e for e in eyes if e.eye == course.eye), None)
    ended = _ended_at(eye.context.operation) if eye else None
    if eye is None or ended is None or course.first_day != eye.day0:
        return None
    phase = next((p for p in rounds if p.start <= eye.day0 <= p.end), None)
    dose = next((d for d in phase.doses if d.course == course.key), None) if phase else None
    if dose is None or not rounds:
        return None
    rise = waking.clock(0)
    # A round before the time of rising is one after midnight, at the end of the waking day.
    return sum(_minutes(t, next_day=t < rise) > ended for t in dose.times)


def _ended_at(operation: Operation) -> int | None:
    """Minutes from the midnight before the operation; an end before the start is after the next one."""
    if operation.end is None:
        return None
    return _minutes(operation.end, next_day=operation.start is not None and operation.end < operation.start)


def _minutes(clock: str, *, next_day: bool) -> int:
    return minutes_of(clock) + MINUTES_A_DAY * next_day
