"""Trips: the fewest visits to the clinic that see everything in time.

A trip serves every open need whose window holds its day and whose service is offered with room;
a need is served by the first such trip. All needs of both eyes are planned together, and a trip
takes one place in each service that it uses. Minimised in this order: trips; booked days given
up; the sum of weight x days off target; crowding; then the earliest dates. The plan is the best
one there is, not a good guess (:mod:`followup.timing.trip_search`).

Where the rules leave a choice, this program reads them so:

* A place taken by an urgent need on a full day covers its service for the whole trip, so other
  needs of that service are looked at too.
* A target that a served day pushes past the window's end is drawn back to the end.
* A need that hangs on one that is missed or impossible keeps its own window.
* A gap rule broken before the horizon begins is ``missed``, and the next check is due on the first
  day with room. One that closed days break is reported, and its check comes on the first day with room.
* If needs cannot be kept together, as few as can be give way, gap rules before needs and needs
  before urgent needs, and each is named.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from followup.timing.calendar import Calendar
from followup.timing.trip_checks import check_gaps, check_needs, in_order
from followup.timing.trip_outcome import TripOutcome
from followup.timing.trip_search import BestDays, Search
from followup.timing.trip_tables import (
    Item,
    Room,
    Tables,
    gap_in_numbers,
    possible_days,
    resolve,
    tables,
    window_of,
)
from followup.timing.trip_types import (
    BookedTrip,
    GapRule,
    ImpossibleNeed,
    PlannedTrip,
    Since,
    TripCost,
    TripNeed,
    TripsPlan,
)

__all__ = [
    "BookedTrip",
    "GapRule",
    "ImpossibleNeed",
    "PlannedTrip",
    "Since",
    "TripCost",
    "TripNeed",
    "TripsPlan",
    "plan_trips",
]


def plan_trips(
    needs: Iterable[TripNeed],
    *,
    gaps: Iterable[GapRule] = (),
    booked: Iterable[BookedTrip] = (),
    calendar: Calendar,
    horizon_start: date,
    last_check: date | None = None,
    served: Mapping[str, date] | None = None,
    extra: Iterable[tuple[str, date]] = (),
) -> TripsPlan:
    """The best trips from ``horizon_start`` on.

    ``extra`` are services with a day on which they are given whatever the calendar says.

    ``served`` maps needs already done to their day, also needs that are not among ``needs`` but
    on which others hang. Raises FollowupError "trips.need", "trips.after", "trips.gap" or
    "trips.reach" for input that contradicts itself. The order of the input never matters.
    """
    served = dict(served or {})
    wanted = sorted(needs, key=lambda need: need.key)
    rules = sorted(gaps, key=lambda rule: rule.key)
    check_needs(wanted, served, horizon_start)
    check_gaps(rules, horizon_start)
    room = Room(calendar, horizon_start, frozenset(extra))
    sorting = _sort_out(wanted, served, room)
    numbers = [gap_in_numbers(rule, room, last_check) for rule in rules]
    visits, closed = _visits(booked, room)
    known = tables(sorting.items, sorting.possible, numbers, room, visits.items())
    search, found = _least_harm(known)
    return TripOutcome(wanted, served, sorting.missed, visits, closed, search, found).written()


@dataclass(frozen=True)
class _Sorted:
    """The needs that some day can serve, with those days, and the needs whose time has run out."""

    items: Sequence[Item]
    possible: Sequence[Sequence[int]]
    missed: Sequence[str]


def _sort_out(needs: Sequence[TripNeed], served: Mapping[str, date], room: Room) -> _Sorted:
    """Look at each need alone, those on which others hang first."""
    open_needs = [need for need in needs if need.key not in served]
    rushed = {need.service for need in open_needs if need.urgent}
    index: dict[str, int] = {}
    found: dict[int, tuple[Item, Sequence[int]]] = {}
    missed: list[str] = []
    for need in in_order(open_needs):
        item = _item(need, index, served, room)
        if not item.after and item.own[2] < 0:
            missed.append(need.key)
            continue
        days = {n: possible for n, (_, possible) in found.items()}
        possible = possible_days(item, days, room, need.service in rushed)
        if possible:
            index[need.key] = len(found)
            found[len(found)] = item, possible
    items = [item for item, _ in found.values()]
    return _Sorted(items, [days for _, days in found.values()], missed)


def _item(need: TripNeed, index: Mapping[str, int], served: Mapping[str, date], room: Room) -> Item:
    """The need in numbers: what is known of its window resolved, the rest left hanging."""
    own = window_of(need, room)
    edges = [((served[after.need] - room.start).days, after) for after in need.after if after.need in served]
    hanging = tuple((index[after.need], after) for after in need.after if after.need in index)
    return Item(
        need.key, need.service, resolve(own, edges), need.weight, need.urgent, hanging, need.elsewhere
    )


def _visits(booked: Iterable[BookedTrip], room: Room) -> tuple[dict[int, BookedTrip], list[int]]:
    """The visits still to come by day, and the days of those that cannot move though the clinic is closed."""
    visits: dict[int, BookedTrip] = {}
    for trip in sorted(booked, key=lambda trip: (trip.day, trip.cannot_move, trip.decided)):
        visits[(trip.day - room.start).days] = trip
    visits = {day: trip for day, trip in visits.items() if day >= 0}
    closed = [
        day
        for day, trip in visits.items()
        if trip.cannot_move and not trip.decided and not room.calendar.is_open(trip.day)
    ]
    return {day: trip for day, trip in visits.items() if day not in closed}, closed


def _least_harm(known: Tables) -> tuple[Search, BestDays]:
    """The best plan in which as little as can be gives way: normally nothing.

    Ends, because a plan in which everything may give way always exists.
    """
    spare = 0
    while (found := (search := Search(known, spare, 2 * spare)).best()) is None:
        spare += 1
    while found.harm and (gentler := Search(known, spare, found.harm - 1).best()) is not None:
        found = gentler
    return search, found
