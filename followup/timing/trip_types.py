"""The words of trip planning: what must be looked at, when, and what came out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Since:
    """A window edge that hangs on the day on which another need is served.

    ``need`` is the key of that other need; ``earliest``, ``target`` and ``latest`` are days (0 or
    more) added to its served day. An edge is the later of the need's own edge and this; None
    leaves the own edge alone. As long as the other need is open, this one cannot be served.
    """

    need: str
    earliest: int
    target: int | None = None
    latest: int | None = None


@dataclass(frozen=True)
class TripNeed:
    """One thing that must be looked at within ``earliest``..``latest`` (inclusive), best on ``target``.

    ``weight`` prices a day's deviation from the target. An ``urgent`` need may overbook a full
    day; it may not open a closed one. One that is looked at ``elsewhere`` has its one day and takes
    no place here; nothing but what is looked at there can be done on that day.
    """

    key: str
    service: str
    earliest: date
    target: date
    latest: date
    weight: int = 1
    urgent: bool = False
    after: tuple[Since, ...] = ()
    elsewhere: bool = False


@dataclass(frozen=True)
class GapRule:
    """At most ``limit`` of these ``days`` lie strictly between two checks that follow each other.

    Every trip is a check. Before the first trip the count starts after the last check, or with
    the first of the days when none is known; after the last trip it runs to the last of the days.
    A trip that this rule alone asks for uses ``service``.
    """

    key: str
    days: frozenset[date]
    limit: int
    service: str = "pressure"


@dataclass(frozen=True)
class BookedTrip:
    """A visit already booked. One that cannot move is among the trips whatever it serves; one that was
    ``decided`` stands though the clinic is closed."""

    day: date
    cannot_move: bool = False
    decided: bool = False


@dataclass(frozen=True)
class PlannedTrip:
    """One visit: the needs it serves (keys in order), the services it takes a place in.

    ``window_start`` and ``window_end`` say how far this trip alone may be moved: the latest
    ``earliest`` and the earliest ``latest`` of its needs, and no further than the gap rules
    allow. ``overbooked`` names the services that an urgent need uses beyond
    their places.
    """

    day: date
    serves: tuple[str, ...]
    services: tuple[str, ...]
    window_start: date
    window_end: date
    overbooked: tuple[str, ...] = ()


@dataclass(frozen=True)
class ImpossibleNeed:
    """A need that cannot be kept: why, and the nearest offered day on either side.

    Or a gap rule, once for each stretch that grows too long: ``before`` is None, ``after`` the day of
    the next check (None: none follows, and no day could hold one).
    """

    need: str
    reason: str
    before: date | None
    after: date | None


@dataclass(frozen=True)
class TripCost:
    """What was minimised, in this order; then the earliest dates decide."""

    trips: int
    given_up: int
    deviation: int
    crowding: int


@dataclass(frozen=True)
class TripsPlan:
    """The fewest visits that see everything in time.

    ``windows`` gives every need's (earliest, target, latest) once the days it hangs on are known.
    ``missed`` names needs and gap rules whose time had run out before the plan begins: a question
    for the surgeon. ``given_up`` are booked days, not yet past, that are no longer trips.
    """

    trips: tuple[PlannedTrip, ...]
    windows: Mapping[str, tuple[date, date, date]]
    impossible: tuple[ImpossibleNeed, ...]
    missed: tuple[str, ...]
    given_up: tuple[date, ...]
    cost: TripCost
