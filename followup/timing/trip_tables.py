"""Trip planning in numbers: needs as bits, dates as days from the start of the horizon.

The search asks the same few questions thousands of times; here they become table look-ups.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import lru_cache
from itertools import islice

from followup.timing.calendar import Calendar
from followup.timing.trip_types import BookedTrip, GapRule, Since, TripNeed

BEFORE = -1  # "no trip yet" where a day is meant
FAR = 10**9  # later than any day: no deadline
LONGEST_WAIT = 366  # days looked past the end of a window or rule for the next offered day

Window = tuple[int, int, int]


@dataclass(frozen=True)
class Item:
    """A need in numbers. ``after`` holds (index of the other need, the rule)."""

    key: str
    service: str
    own: Window
    weight: int
    urgent: bool
    after: tuple[tuple[int, Since], ...]
    elsewhere: bool = False


@dataclass(frozen=True)
class Gap:
    """A gap rule in numbers: its days in order, and the days on which its service has room.

    ``checked`` is the last check before the horizon; ``overdue`` says that even a trip on the
    first day of the horizon comes too late, so the first deadline is the first day with room.
    """

    key: str
    days: tuple[int, ...]
    limit: int
    service: str
    room: tuple[int, ...]
    checked: int
    overdue: bool

    def deadline(self, last: int) -> int:
        """The last day for the next check after a trip on ``last`` (BEFORE: none yet)."""
        if last == BEFORE and self.overdue:
            return self.room[0] if self.room else FAR
        first = bisect_right(self.days, self.since(last))
        over = first + self.limit
        return self.days[over] if over < len(self.days) else FAR

    def relaxed(self, last: int) -> int:
        """The deadline when the rule may give way: the first day with room, if none is in time."""
        deadline = self.deadline(last)
        place = bisect_right(self.room, last)
        if place == len(self.room):
            return FAR
        return max(deadline, self.room[place])

    def since(self, last: int) -> int:
        """The day of the check from which the count runs after a trip on ``last``."""
        return max(last, self.checked) if last != BEFORE else self.checked

    def earliest_before(self, following: int) -> int:
        """The first day for a check that leaves no more than the limit before ``following``."""
        over = bisect_left(self.days, following) - self.limit - 1
        return self.days[over] if over >= 0 else 0

    def at_work(self, last: int) -> bool:
        """Whether any of its days lie after the last check."""
        return bool(self.days) and self.days[-1] > self.since(last)


@dataclass
class Room:
    """Remembers what the calendar says, in day numbers.

    ``extra`` are services by day that are given without limit whatever the calendar says: someone
    decided so, or whoever is on call gives them.
    """

    calendar: Calendar
    start: date
    extra: frozenset[tuple[str, date]] = frozenset()
    _known: dict[tuple[str, int], int | None] = field(default_factory=dict)

    def left(self, service: str, day: int) -> int | None:
        """Places left; None without limit. -1 where the service is not offered at all."""
        found = self._known.get((service, day), FAR)
        if found == FAR:
            found = self._ask(service, day)
            self._known[service, day] = found
        return found

    def _ask(self, service: str, day: int) -> int | None:
        real = self.date(day)
        return None if (service, real) in self.extra else self.calendar.left(service, real)

    def fits(self, service: str, day: int, *, urgent: bool = False) -> bool:
        """Whether a trip on ``day`` can use ``service``; an urgent need may overbook."""
        left = self.left(service, day)
        return left is None or left > 0 or (urgent and left == 0)

    def taken(self, service: str, day: int) -> int:
        return self.calendar.taken(self.date(day), service)

    def date(self, day: int) -> date:
        return self.start + timedelta(days=day)


def window_of(need: TripNeed, room: Room) -> Window:
    """The need's own window in day numbers."""
    earliest, target, latest = ((day - room.start).days for day in (need.earliest, need.target, need.latest))
    return earliest, target, latest


def resolve(own: Window, edges: Iterable[tuple[int, Since]]) -> Window:
    """The window once the days it hangs on are known, given as (served day, rule)."""
    earliest, target, latest = own
    for day, after in edges:
        earliest = max(earliest, day + after.earliest)
        target = target if after.target is None else max(target, day + after.target)
        latest = latest if after.latest is None else max(latest, day + after.latest)
    latest = max(latest, earliest)
    return earliest, min(max(target, earliest), latest), latest


def possible_days(item: Item, possible: Mapping[int, Sequence[int]], fits: Room, shared: bool) -> list[int]:
    """Every day of the horizon on which some plan could serve ``item``.

    ``possible`` gives these days for the needs it hangs on. ``shared``: an urgent need of the
    same service may open a full day for it too.
    """
    earliest, _, latest = item.own
    edges = [(possible[base], after) for base, after in item.after]
    first = max([0, earliest, *(days[0] + after.earliest for days, after in edges)])
    last = max([latest, *(days[-1] + _reach(after) for days, after in edges)])
    urgent = item.urgent or shared
    return [
        day
        for day in range(first, last + 1)
        if fits.fits(item.service, day, urgent=urgent)
        and (day <= latest or any(_reaches(days, after, day) for days, after in edges))
    ]


def _reach(after: Since) -> int:
    return max(after.earliest, after.latest or 0)


def _reaches(days: Sequence[int], after: Since, day: int) -> bool:
    """Whether one of the served ``days`` stretches a window exactly over ``day``."""
    first = bisect_left(days, day - _reach(after))
    return first < len(days) and days[first] + after.earliest <= day


def gap_in_numbers(rule: GapRule, fits: Room, last_check: date | None) -> Gap:
    """The rule with its days as numbers, and whether it was broken before the horizon begins."""
    days = tuple(sorted((day - fits.start).days for day in rule.days))
    checked = -FAR if last_check is None else (last_check - fits.start).days
    last = days[-1] if days else BEFORE
    room = [day for day in range(last + 1) if fits.fits(rule.service, day)]
    later = range(max(last + 1, 0), last + LONGEST_WAIT)
    room += islice((day for day in later if fits.fits(rule.service, day)), 1)
    over = bisect_left(days, 0) - bisect_right(days, checked)
    return Gap(rule.key, days, rule.limit, rule.service, tuple(room), checked, over > rule.limit)


@dataclass(frozen=True)
class Tables:
    """Everything the search looks up. Masks have one bit for each of ``items``.

    ``fixed``: days of trips that cannot move; ``booked``: days of the others;
    ``candidates``: the only days on which a trip can be of use.
    """

    items: tuple[Item, ...]
    gaps: tuple[Gap, ...]
    room: Room
    fixed: tuple[int, ...]
    booked: tuple[int, ...]
    candidates: tuple[int, ...]
    possible: tuple[tuple[int, ...], ...]
    bases: tuple[int, ...]
    dependents: tuple[int, ...]
    free: int
    static_at: Mapping[int, int]
    allowed_at: Mapping[int, int]
    full_at: Mapping[int, tuple[tuple[int, int], ...]]


def tables(
    items: Sequence[Item],
    possible: Sequence[Sequence[int]],
    gaps: Sequence[Gap],
    room: Room,
    booked: Iterable[tuple[int, BookedTrip]],
) -> Tables:
    """The tables for needs that can each be served on some day."""
    visits = list(booked)
    fixed = sorted(day for day, trip in visits if trip.cannot_move)
    candidates = sorted({*fixed, *(d for g in gaps for d in g.room), *(d for days in possible for d in days)})
    bases = sorted({base for item in items for base, _ in item.after})
    dependents = [
        _mask(n for n, i in enumerate(items) if any(b == base for b, _ in i.after)) for base in bases
    ]
    static = [n for n, item in enumerate(items) if not item.after]
    away = {item.own[0] for item in items if item.elsewhere}
    alike: dict[tuple[str, bool, bool], int] = {}
    for n, item in enumerate(items):
        kind = item.service, item.urgent, item.elsewhere
        alike[kind] = alike.get(kind, 0) | 1 << n
    return Tables(
        items=tuple(items),
        gaps=tuple(gaps),
        room=room,
        fixed=tuple(fixed),
        booked=tuple(sorted(day for day, trip in visits if not trip.cannot_move)),
        candidates=tuple(candidates),
        possible=tuple(tuple(days) for days in possible),
        bases=tuple(bases),
        dependents=tuple(dependents),
        free=_mask(static),
        static_at={
            day: _mask(n for n in static if items[n].own[0] <= day <= items[n].own[2]) for day in candidates
        },
        allowed_at={
            day: sum(
                mask
                for (service, urgent, elsewhere), mask in alike.items()
                if elsewhere == (day in away) and room.fits(service, day, urgent=urgent)
            )
            for day in candidates
        },
        full_at={day: () if day in away else _full(items, room, day) for day in candidates},
    )


def _full(items: Sequence[Item], room: Room, day: int) -> tuple[tuple[int, int], ...]:
    """For each full service of ``day``: its urgent needs, and all its needs."""
    services = sorted({item.service for item in items if item.urgent and room.left(item.service, day) == 0})
    return tuple(
        (
            _mask(n for n, item in enumerate(items) if item.service == service and item.urgent),
            _mask(n for n, item in enumerate(items) if item.service == service),
        )
        for service in services
    )


@lru_cache(maxsize=1 << 16)
def bits(mask: int) -> tuple[int, ...]:
    """The numbers of the bits that are set, lowest first."""
    return tuple(n for n in range(mask.bit_length()) if mask >> n & 1)


def _mask(numbers: Iterable[int]) -> int:
    mask = 0
    for number in numbers:
        mask |= 1 << number
    return mask
