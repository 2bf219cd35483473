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

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import count, pairwise

from followup.timing.calendar import Calendar
from followup.timing.trip_checks import check_gaps, check_needs, in_order
from followup.timing.trip_reasons import explain_fixed, explain_gap, explain_need
from followup.timing.trip_search import Found, Search
from followup.timing.trip_tables import (
    BEFORE,
    FAR,
    Item,
    Room,
    Tables,
    Window,
    gap_in_numbers,
    possible_days,
    resolve,
    tables,
)
from followup.timing.trip_types import (
    After,
    BookedTrip,
    GapRule,
    ImpossibleNeed,
    PlannedTrip,
    TripCost,
    TripNeed,
    TripsPlan,
)

__all__ = [
    "After",
    "BookedTrip",
    "GapRule",
    "ImpossibleNeed",
    "PlannedTrip",
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
) -> TripsPlan:
    """The best trips from ``horizon_start`` on.

    ``served`` maps needs already done to their day, also needs that are not among ``needs`` but
    on which others hang. Raises FollowupError "trips.need", "trips.after" or "trips.gap" for input
    that contradicts itself. The order of the input never matters.
    """
    served = dict(served or {})
    wanted = sorted(needs, key=lambda need: need.key)
    rules = sorted(gaps, key=lambda rule: rule.key)
    check_needs(wanted, served)
    check_gaps(rules)
    room = Room(calendar, horizon_start)
    sorting = _sort_out(wanted, served, room)
    numbers = [gap_in_numbers(rule, room, last_check) for rule in rules]
    visits, closed = _visits(booked, room)
    known = tables(sorting.items, sorting.possible, numbers, room, visits.items())
    search, found = _least_harm(known)
    return _Plan(wanted, served, sorting, visits, closed, search, found).written()


@dataclass(frozen=True)
class _Sorted:
    """The needs that some day can serve, those that no day can, those whose time has run out."""

    items: Sequence[Item]
    possible: Sequence[Sequence[int]]
    impossible: Collection[str]
    missed: Collection[str]


def _sort_out(needs: Sequence[TripNeed], served: Mapping[str, date], room: Room) -> _Sorted:
    """Look at each need alone, those on which others hang first."""
    open_needs = [need for need in needs if need.key not in served]
    rushed = {need.service for need in open_needs if need.urgent}
    index: dict[str, int] = {}
    found: dict[int, tuple[Item, Sequence[int]]] = {}
    impossible, missed = [], []
    for need in in_order(open_needs):
        item = _item(need, index, served, room)
        if not item.after and item.own[2] < 0:
            missed.append(need.key)
            continue
        days = {n: possible for n, (_, possible) in found.items()}
        possible = possible_days(item, days, room, need.service in rushed)
        if not possible:
            impossible.append(need.key)
            continue
        index[need.key] = len(found)
        found[len(found)] = item, possible
    items = [item for item, _ in found.values()]
    return _Sorted(items, [days for _, days in found.values()], impossible, missed)


def _item(need: TripNeed, index: Mapping[str, int], served: Mapping[str, date], room: Room) -> Item:
    """The need in numbers: what is known of its window resolved, the rest left hanging."""
    own = _days(need, room)
    edges = [((served[after.need] - room.start).days, after) for after in need.after if after.need in served]
    hanging = tuple((index[after.need], after) for after in need.after if after.need in index)
    return Item(need.key, need.service, resolve(own, edges), need.weight, need.urgent, hanging)


def _days(need: TripNeed, room: Room) -> Window:
    earliest, target, latest = ((day - room.start).days for day in (need.earliest, need.target, need.latest))
    return earliest, target, latest


def _visits(booked: Iterable[BookedTrip], room: Room) -> tuple[dict[int, BookedTrip], list[int]]:
    """The visits still to come by day, and the days of those that cannot move though the clinic is closed."""
    visits: dict[int, BookedTrip] = {}
    for trip in sorted(booked, key=lambda trip: (trip.day, trip.cannot_move)):
        visits[(trip.day - room.start).days] = trip
    visits = {day: trip for day, trip in visits.items() if day >= 0}
    closed = [day for day, trip in visits.items() if trip.cannot_move and not room.calendar.is_open(trip.day)]
    return {day: trip for day, trip in visits.items() if day not in closed}, closed


def _least_harm(known: Tables) -> tuple[Search, Found]:
    """The best plan in which as little as can be gives way: normally nothing.

    Ends, because a plan in which everything may give way always exists.
    """
    for spare in count():
        worst = Search(known, spare, 2 * spare)
        found = worst.best()
        if found is None:
            continue
        for harm in range(2 * spare):
            gentler = Search(known, spare, harm)
            better = gentler.best()
            if better is not None:
                return gentler, better
        return worst, found
    raise AssertionError("count() never ends")


@dataclass(frozen=True)
class _Plan:
    """Turns what was found back into dates and words."""

    needs: Sequence[TripNeed]
    served: Mapping[str, date]
    sorting: _Sorted
    visits: Mapping[int, BookedTrip]
    closed: Sequence[int]
    search: Search
    found: Found

    def written(self) -> TripsPlan:
        trips = tuple(self._trips())
        windows = self._windows({key: trip.day for trip in trips for key in trip.serves})
        days = {trip.day for trip in trips}
        room = self.search.t.room
        given_up = [room.date(day) for day in self.closed]
        given_up += [trip.day for trip in self.visits.values() if trip.day not in days]
        overdue = [gap.key for gap in self.search.t.gaps if gap.overdue]
        return TripsPlan(
            trips=trips,
            windows={key: _dates(window, room) for key, window in windows.items()},
            impossible=tuple(sorted(self._impossible(trips, windows), key=lambda item: item.need)),
            missed=tuple(sorted([*self.sorting.missed, *overdue])),
            given_up=tuple(sorted(given_up)),
            cost=TripCost(len(trips), len(given_up), self.found.deviation, self.found.crowding),
        )

    def _trips(self) -> Iterable[PlannedTrip]:
        """Walk through the found days once more, noting what each serves."""
        search = self.search
        open_, refs = search.everything, (BEFORE,) * len(search.t.bases)
        last = BEFORE
        for day, following in pairwise([*self.found.days, FAR]):
            open_, refs = search.lapse(open_, refs, day)
            got, refs = search.serve(day, open_, refs)
            open_ &= ~got
            yield self._trip(day, last, following, got, refs)
            last = day

    def _trip(self, day: int, last: int, following: int, got: int, refs: tuple[int, ...]) -> PlannedTrip:
        search, room = self.search, self.search.t.room
        served = [n for n in range(len(search.t.items)) if got >> n & 1]
        windows = [search.window(n, refs) for n in served]
        start, end = self._movable(day, last, following, windows)
        items = [search.t.items[n] for n in served]
        return PlannedTrip(
            day=room.date(day),
            serves=tuple(sorted(item.key for item in items)),
            services=search.services(day, last, got),
            window_start=room.date(start),
            window_end=room.date(end),
            overbooked=tuple(
                sorted(item.key for item in items if item.urgent and room.left(item.service, day) == 0)
            ),
        )

    def _movable(self, day: int, last: int, following: int, windows: Sequence[Window]) -> tuple[int, int]:
        """How far the trip on ``day`` may be moved alone; never so narrow as to exclude that day."""
        gaps = self.search.t.gaps
        working = [gap for gap in gaps if gap.at_work(last)]
        if not windows and not working:
            return day, day
        starts = [window[0] for window in windows] or [last + 1]
        ends = [window[2] for window in windows]
        ends += [end for gap in working if (end := gap.deadline(last)) < FAR]
        start = max([0, *starts, *(gap.earliest_before(following) for gap in working)])
        return min(start, day), max(min(ends, default=day), day)

    def _windows(self, planned: Mapping[str, date]) -> dict[str, Window]:
        """Every need's final window in day numbers."""
        room = self.search.t.room
        done = {key: (day - room.start).days for key, day in {**planned, **self.served}.items()}
        return {
            need.key: resolve(
                _days(need, room), [(done[after.need], after) for after in need.after if after.need in done]
            )
            for need in self.needs
        }

    def _impossible(
        self, trips: Sequence[PlannedTrip], windows: Mapping[str, Window]
    ) -> Iterable[ImpossibleNeed]:
        known = self.search.t
        kept = {key for trip in trips for key in trip.serves} | {*self.served, *self.sorting.missed}
        for need in self.needs:
            if need.key not in kept:
                yield explain_need(need, windows[need.key], known.room)
        checks = [BEFORE, *self.found.days]
        for g in self.found.relaxed:
            yield explain_gap(known.gaps[g], checks, known.room)
        for day in self.closed:
            yield explain_fixed(day, known.room)


def _dates(window: Window, room: Room) -> tuple[date, date, date]:
    earliest, target, latest = (room.date(day) for day in window)
    return earliest, target, latest
