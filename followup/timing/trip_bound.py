"""A lower bound on the trips that must still follow: what lets the search leave hopeless states.

Every open need is loosened to the span of days on which it could be served. For spans and gaps
the next trip as late as they allow is as good as any, for it meets all that an earlier one meets;
so the k-th trip of any plan comes no later than the k-th of these. Needs that can only be served
after it, and hang on each other one by one, still take a trip each.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence

from followup.timing.trip_tables import BEFORE, FAR, Tables, bits

Spans = dict[int, tuple[int, int]]
Deadlines = Mapping[int, Sequence[int]]


class LowerBound:
    """Bounds over ``tables``; ``strict`` and ``loose`` give the deadlines of the gap rules after a day."""

    def __init__(self, tables: Tables, strict: Deadlines, loose: Deadlines) -> None:
        self.t = tables
        self.strict = strict
        self.loose = loose
        self.linked = sum(1 << n for n, item in enumerate(tables.items) if item.after or n in tables.bases)
        self.position = {base: j for j, base in enumerate(tables.bases)}
        self._alone: dict[int, Spans] = {}
        self._gaps: dict[tuple[int, int], int] = {}
        self._chains: dict[int, int] = {}

    def trips(self, last: int, open_: int, refs: Sequence[int], flags: int, spare: int) -> int:
        """At least so many trips follow if ``spare`` more may give way; FAR: no plan follows at all."""
        spans = self._spans(last, open_, refs)
        if spare == 0 and len(spans) < open_.bit_count():
            return FAR
        ends = sorted((end, first) for first, end in spans.values())
        linked = sorted((spans[n][0], 1 << n) for n in bits(open_ & self.linked) if n in spans)
        chained = sum(bit for _, bit in linked)
        trips, day, place, served = 0, last, 0, 0
        least = self._chain(chained) or int(bool(ends))
        while True:
            limit = self._limit(day, ends[place][0] if place < len(ends) else FAR, flags, spare)
            if limit == FAR:
                return max(0, least - spare)
            found = bisect_right(self.t.candidates, limit)
            latest = self.t.candidates[found - 1] if found else BEFORE
            if latest <= day:
                return FAR if spare == 0 else max(0, least - spare)
            trips, day = trips + 1, latest
            # What can be served by that day is.
            while place < len(ends) and ends[place][1] <= day:
                place += 1
            while served < len(linked) and linked[served][0] <= day:
                chained -= linked[served][1]
                served += 1
            least = max(least, trips + (self._chain(chained) or int(place < len(ends))))

    def _spans(self, last: int, open_: int, refs: Sequence[int]) -> Spans:
        """For each open need the first and last day on which it could be served after ``last``.

        Items stand after those on which they hang, so one pass is enough.
        """
        alone = self._alone.get(last)
        if alone is None:
            alone = self._alone[last] = dict(self._each(bits(self.t.free), last, 0, (), {}))
        spans = {n: alone[n] for n in bits(open_ & self.t.free) if n in alone}
        for n, span in self._each(bits(open_ & ~self.t.free), last, open_, refs, spans):
            spans[n] = span
        return spans

    def _each(
        self, needs: Sequence[int], last: int, open_: int, refs: Sequence[int], spans: Spans
    ) -> Iterator[tuple[int, tuple[int, int]]]:
        for n in needs:
            first, end = self._edges(n, open_, refs, spans)
            days = self.t.possible[n]
            low, high = bisect_left(days, max(first, last + 1)), bisect_right(days, end)
            if low < high:
                yield n, (days[low], days[high - 1])

    def _edges(self, n: int, open_: int, refs: Sequence[int], spans: Spans) -> tuple[int, int]:
        item = self.t.items[n]
        first, _, end = item.own
        for base, after in item.after:
            if open_ >> base & 1:
                lows, highs = spans.get(base, (BEFORE, FAR))
            else:
                lows = highs = refs[self.position[base]]
                if lows == BEFORE:
                    continue
            first = max(first, lows + after.earliest)
            end = max(end, highs + max(after.earliest, after.latest or 0))
        return first, end

    def _chain(self, linked: int) -> int:
        """The most of these needs that must be served on different days, one after the other."""
        known = self._chains.get(linked)
        if known is None:
            longest: dict[int, int] = {}
            for n in bits(linked):
                before = [
                    longest[base] + (after.earliest > 0) - 1
                    for base, after in self.t.items[n].after
                    if base in longest
                ]
                longest[n] = 1 + max(before, default=0)
            known = self._chains[linked] = max(longest.values(), default=0)
        return known

    def _limit(self, day: int, limit: int, flags: int, spare: int) -> int:
        """The latest day for the next trip after one on ``day``; ``limit`` is that of the needs."""
        place = bisect_right(self.t.fixed, day)
        if place < len(self.t.fixed):
            limit = min(limit, self.t.fixed[place])
        return limit if spare else min(limit, self._gap(day, flags))

    def _gap(self, day: int, flags: int) -> int:
        """The latest day that the gap rules allow after a trip on ``day``."""
        known = self._gaps.get((day, flags))
        if known is None:
            pairs = enumerate(zip(self.strict[day], self.loose[day], strict=True))
            ends = (loose if flags >> g & 1 else strict for g, (strict, loose) in pairs)
            known = self._gaps[day, flags] = min(ends, default=FAR)
        return known
