"""What the search found, put back into dates, windows and reasons."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from followup.timing.trip_reasons import explain_fixed, explain_gap, explain_need
from followup.timing.trip_search import BestDays, Search
from followup.timing.trip_tables import BEFORE, FAR, Room, Window, resolve, window_of
from followup.timing.trip_types import (
    BookedTrip,
    ImpossibleNeed,
    PlannedTrip,
    TripCost,
    TripNeed,
    TripsPlan,
)


@dataclass(frozen=True)
class TripOutcome:
    """Turns what was found back into dates and words."""

    needs: Sequence[TripNeed]
    served: Mapping[str, date]
    missed: Sequence[str]
    visits: Mapping[int, BookedTrip]
    closed: Sequence[int]
    search: Search
    found: BestDays

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
            missed=tuple(sorted([*self.missed, *overdue])),
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
            overbooked=tuple(sorted({item.service for item in items if room.left(item.service, day) == 0})),
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
                window_of(need, room),
                [(done[after.need], after) for after in need.after if after.need in done],
            )
            for need in self.needs
        }

    def _impossible(
        self, trips: Sequence[PlannedTrip], windows: Mapping[str, Window]
    ) -> Iterable[ImpossibleNeed]:
        known = self.search.t
        kept = {key for trip in trips for key in trip.serves} | {*self.served, *self.missed}
        for need in self.needs:
            if need.key not in kept:
                yield explain_need(need, windows[need.key], known.room)
        checks = [BEFORE, *self.found.days]
        for g in self.found.relaxed:
            yield from explain_gap(known.gaps[g], checks, known.room)
        for day in self.closed:
            yield explain_fixed(day, known.room)


def _dates(window: Window, room: Room) -> tuple[date, date, date]:
    earliest, target, latest = (room.date(day) for day in window)
    return earliest, target, latest
