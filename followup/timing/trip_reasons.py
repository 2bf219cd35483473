"""Why something cannot be kept, in one sentence, and the nearest offered days around it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from itertools import pairwise

from followup.said import say
from followup.timing.trip_tables import FAR, LONGEST_WAIT, Gap, Room, Window
from followup.timing.trip_types import ImpossibleNeed, TripNeed

CLOSED = say("The clinic is closed on every day that is left of its window.")
NOT_OFFERED = say("The service is not offered on any open day that is left of its window.")
FULL = say("No place is left for the service on any day that is left of its window.")
TOGETHER = say(
    "It cannot be kept together with the other needs, the limits between checks and the fixed visits."
)
NO_CHECK_IN_TIME = say("No day with room comes in time for the next check.")
FIXED_ON_CLOSED_DAY = say("A visit that cannot move is booked for a day on which the clinic is closed.")
REASONS = (CLOSED, NOT_OFFERED, FULL, TOGETHER, NO_CHECK_IN_TIME, FIXED_ON_CLOSED_DAY)


def explain_need(need: TripNeed, window: Window, room: Room) -> ImpossibleNeed:
    """Why no trip serves ``need``, whose final window is ``window``."""
    first, last = max(window[0], 0), window[2]
    return ImpossibleNeed(
        need=need.key,
        reason=_reason(need, range(first, last + 1), room),
        before=_nearest(need, range(window[0] - 1, -1, -1), room),
        after=_nearest(need, range(max(last + 1, 0), last + 1 + LONGEST_WAIT), room),
    )


def _reason(need: TripNeed, days: range, room: Room) -> str:
    if not any(room.calendar.is_open(room.date(day)) for day in days):
        return CLOSED
    if all(room.left(need.service, day) == -1 for day in days):
        return NOT_OFFERED
    if not any(room.fits(need.service, day, urgent=need.urgent) for day in days):
        return FULL
    return TOGETHER


def _nearest(need: TripNeed, days: range, room: Room) -> date | None:
    return next((room.date(d) for d in days if room.fits(need.service, d, urgent=need.urgent)), None)


def explain_gap(gap: Gap, checks: Sequence[int], room: Room) -> Iterator[ImpossibleNeed]:
    """Every stretch that grows too long: no day with room lies between a check and the next deadline."""
    for last, following in pairwise([*checks, FAR]):
        deadline = gap.deadline(last)
        if following > deadline:
            later = following if following < FAR else next((d for d in gap.room if d > deadline), None)
            after = None if later is None else room.date(later)
            yield ImpossibleNeed(gap.key, NO_CHECK_IN_TIME, None, after)


def explain_fixed(day: int, room: Room) -> ImpossibleNeed:
    """A trip that cannot move, on a closed day; the nearest open days are offered instead."""
    is_open = room.calendar.is_open
    before = (room.date(d) for d in range(day - 1, -1, -1))
    after = (room.date(d) for d in range(day + 1, day + 1 + LONGEST_WAIT))
    return ImpossibleNeed(
        need=f"trip:{room.date(day)}",
        reason=FIXED_ON_CLOSED_DAY,
        before=next((real for real in before if is_open(real)), None),
        after=next((real for real in after if is_open(real)), None),
    )
