"""A lower bound on the trips that must still follow: what lets the search leave hopeless states.

Every open need is loosened to the span of days on which it could be served. For spans and gaps
the next trip as late as they allow is as good as any, for it meets all that an earlier one meets;
so the k-th trip of any plan comes no later than the k-th of these. Needs that can only be served
after it, and hang on each other one by one, still take a trip each.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence

from followup.timing.trip_tables import BEFORE, FAR, Tables, bits

Spans = dict[int, tuple[int, int]]
Deadlines = Mapping[int, Sequence[int]]


class LowerBound:
    """Bounds over ``tables``; ``strict`` and ``loose`` give the deadlines of the gap rules after a day."""

    def __init__(self, tables: Tables, strict: Deadlines, loose: Deadlines) -> None:
        self.t = tables
        self.strict = strict
        self.loose = loose
        self.linked = [n for n, item in enumerate(tables.items) if item.after or n in tables.bases]
        self.position = {base: j for j, base in enumerate(tables.bases)}

    def trips(self, last: int, open_: int, refs: Sequence[int], flags: int, spare: int) -> int:
        """At least so many trips follow if ``spare`` more may give way; FAR: no plan follows at all."""
        spans = self._spans(last, open_, refs)
        if spare == 0 and len(spans) < open_.bit_count():
            return FAR
        trips, day = 0, last
        least = self._chain(spans)
        while (limit := self._limit(day, spans, flags, spare)) < FAR:
            place = bisect_right(self.t.candidates, limit)
            latest = self.t.candidates[place - 1] if place else BEFORE
            if latest <= day:
                return FAR if spare == 0 else max(0, least - spare)
            trips, day = trips + 1, latest
            spans = {n: span for n, span in spans.items() if span[0] > day}
            least = max(least, trips + self._chain(spans))
        return max(0, least - spare)

    def _spans(self, last: int, open_: int, refs: Sequence[int]) -> Spans:
        """For each open need the first and last day on which it could be served after ``last``.

        Items stand after those on which they hang, so one pass is enough.
        """
        spans: Spans = {}
        for n in bits(open_):
            first, end = self._edges(n, open_, refs, spans)
            days = self.t.possible[n]
            low, high = bisect_left(days, max(first, last + 1)), bisect_right(days, end)
            if low < high:
                spans[n] = days[low], days[high - 1]
        return spans

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

    def _chain(self, spans: Spans) -> int:
        """The most needs of ``spans`` that must be served on different days, one after the other."""
        longest: dict[int, int] = {}
        for n in self.linked:
            if n not in spans:
                continue
            before = [
                longest[base] + (after.earliest > 0) - 1
                for base, after in self.t.items[n].after
                if base in longest
            ]
            longest[n] = 1 + max(before, default=0)
        return max(longest.values(), default=min(len(spans), 1))

    def _limit(self, day: int, spans: Spans, flags: int, spare: int) -> int:
        """The latest day for the next trip after one on ``day``."""
        limit = min((end for _, end in spans.values()), default=FAR)
        place = bisect_right(self.t.fixed, day)
        if place < len(self.t.fixed):
            limit = min(limit, self.t.fixed[place])
        if spare:
            return limit
        pairs = zip(self.strict[day], self.loose[day], strict=True)
        return min([limit, *(loose if flags >> g & 1 else strict for g, (strict, loose) in enumerate(pairs))])
