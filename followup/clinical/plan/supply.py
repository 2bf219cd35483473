"""Supply: how many bottles a course takes, when each is opened, thrown away and handed over.

Counted by simulation, dose by dose, for one eye: a bottle serves one eye of one person.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from followup.clinical.careplan import Course, Trip
from followup.clinical.day_plan import Bottle
from followup.clinical.statuses import NOT_COMING
from followup.errors import FollowupError
from followup.said import say
from followup.timing.calendar import every_day


@dataclass
class _Opened:
    """A bottle in use: the day it was opened, the drops taken so far, and how many by each evening."""

    opened: date
    drops: int = 0
    by_evening: dict[date, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Margin:
    """When the next bottle must be in hand: before less than the share ``left`` of the present one is
    there, which holds no more than ``sure_drops`` (its drops at their largest)."""

    left: float
    sure_drops: int


def simulate(
    course: Course,
    drops_per_bottle: int,
    open_days: int,
    *,
    today: date,
    trips: Sequence[Trip] = (),
    first_day_doses: int | None = None,
    rounds_more: int = 0,
    drops_a_dose: int = 1,
    margin: Margin | None = None,
    goes_on: bool = False,
) -> tuple[Bottle, ...]:
    """The bottles of one course, in the order of opening; ``Bottle.drops`` are those it serves.

    A bottle is opened at the first dose it serves. It is gone when its drops run out or after
    its last usable day (``opened + open_days - 1``, its ``discard``), whichever is first; a dose
    it can't finish opens the next. ``first_day_doses`` are the rounds still to come on the
    course's first day where some are past already (None: all of them), ``rounds_more`` those of that day
    beside the ones that the steps count. An as-needed course
    counts at its maximum, which is what its steps say. A held or stopped course, and anything
    by mouth, takes no bottle.

    It is thrown away on the evening of that day, or of the last day of the course where that is
    earlier, unless the course ``goes_on`` after the days that the plan speaks of.

    Hand-over: the visit before the one at which less of the present bottle is left than ``margin``
    allows, and never one whose window reaches the opening day, so that the bottle is there even if
    the patient comes on the last allowed day; else ``today`` (or, for a bottle opened earlier, that
    day). Trips before ``today``, missed, cancelled or at another place hand over nothing.

    Raises :class:`FollowupError` ``supply.bottle`` where a bottle can't serve one whole dose.
    """
    _check(course, drops_per_bottle, open_days, drops_a_dose)
    if course.state != "active" or course.eye is None:
        return ()
    opened: list[_Opened] = []
    for day in _doses(course, first_day_doses, rounds_more):
        _serve(opened, day, drops_a_dose, drops_per_bottle, open_days)
    handing = sorted((t for t in trips if hands_over(t, today)), key=lambda t: (t.date, t.number))
    ends = None if goes_on else course.last_day
    made = []
    for number, one in enumerate(opened, 1):
        before = opened[number - 2] if number > 1 else None
        low = _runs_low(before, margin, open_days) if before and margin else one.opened
        made.append(_bottle(course.key, number, one, open_days, handing, today, min(low, one.opened), ends))
    return tuple(made)


def _runs_low(bottle: _Opened, margin: Margin, open_days: int) -> date:
    """The first day in whose evening less is left than the margin allows; the day after its last one."""
    least = margin.left * margin.sure_drops
    low = (day for day, used in bottle.by_evening.items() if margin.sure_drops - used < least)
    return min(low, default=last_usable_day(bottle.opened, open_days) + timedelta(days=1))


def last_usable_day(opened: date, open_days: int) -> date:
    """The evening on which a bottle opened on ``opened`` is thrown away."""
    return opened + timedelta(days=open_days - 1)


def _doses(course: Course, first_day_doses: int | None, rounds_more: int) -> Iterator[date]:
    """The day of every dose, in order."""
    for step in course.steps:
        for day in every_day(step.start, step.end):
            doses = step.count
            if day == course.first_day:
                still = doses if first_day_doses is None else min(doses, max(0, first_day_doses))
                doses = still + rounds_more
            yield from (day for _ in range(doses))


def _serve(opened: list[_Opened], day: date, drops: int, capacity: int, open_days: int) -> None:
    """Take one dose, from the bottle in use as far as it goes and then from the next."""
    while drops:
        if not opened or opened[-1].drops == capacity or day > last_usable_day(opened[-1].opened, open_days):
            opened.append(_Opened(day))
        taken = min(drops, capacity - opened[-1].drops)
        opened[-1].drops += taken
        opened[-1].by_evening[day] = opened[-1].drops
        drops -= taken


def hands_over(trip: Trip, today: date) -> bool:
    """Whether a visit can hand anything over: it is still to come, and at this clinic's own desk."""
    return trip.date >= today and trip.status not in NOT_COMING and trip.place is None


def _bottle(
    course: str,
    number: int,
    one: _Opened,
    open_days: int,
    handing: Sequence[Trip],
    today: date,
    low: date,
    ends: date | None,
) -> Bottle:
    in_time = (t for t in reversed(handing) if t.date < low and t.window_end < one.opened)
    trip = next(in_time, None)
    last = last_usable_day(one.opened, open_days)
    return Bottle(
        course=course,
        number=number,
        opened=one.opened,
        discard=last if ends is None else min(last, ends),
        drops=one.drops,
        handed_over=trip.date if trip else min(today, one.opened),
        handed_over_trip=trip.number if trip else None,
    )


def _check(course: Course, drops_per_bottle: int, open_days: int, drops_a_dose: int) -> None:
    if drops_a_dose < 1 or drops_per_bottle < drops_a_dose or open_days < 1:
        raise FollowupError(
            "supply.bottle",
            say(
                "{drops_per_bottle} drops a bottle, {drops_a_dose} a dose, {open_days} days open "
                "serve no dose",
                drops_per_bottle=drops_per_bottle,
                drops_a_dose=drops_a_dose,
                open_days=open_days,
            ),
            where=course.key,
            fix=say("correct the bottle volume, drop size and days open in the formulary"),
        )
