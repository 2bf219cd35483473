"""Small numbers masked, and as many others withheld as it takes that none can be computed from the rest.

Counts hang together by sums. A masked one could be computed where it is the only one missing of a sum, where
several sums together leave only it open, or where the bounds of the others leave it one value.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

Why = Literal["", "few", "withheld"]
_Place = tuple[int, int]
_GROUND = -1
_NO_END = 10**12
_ROUNDS = 40
"""How often bounds are narrowed: each round is right by itself."""


@dataclass(frozen=True)
class MaskedCell:
    """A count as it may be handed on. ``count``: None where it is masked, as ``why`` tells: ``few`` people,
    or ``withheld``, because one of few could be computed from it."""

    count: int | None
    why: Why = ""


@dataclass(frozen=True)
class _Sums:
    """Counts, and the lines of places in each of which the last is the sum of those before.

    ``fixed``: shown elsewhere, so that nothing is gained by withholding them here.
    """

    counts: Mapping[_Place, int]
    lines: tuple[tuple[_Place, ...], ...]
    few: int
    fixed: frozenset[_Place] = frozenset()

    def lines_of(self, place: _Place) -> list[int]:
        return [number for number, line in enumerate(self.lines) if place in line]


def masked_line(parts: Sequence[int], few: int) -> tuple[MaskedCell, ...]:
    """The parts of one sum, and the sum last; fewer than ``few`` people are masked."""
    counts = {(0, c): count for c, count in enumerate((*parts, sum(parts)))}
    cells = _masked(_Sums(counts, (tuple(counts),), few), _of_few(counts, few))
    return tuple(cells[place] for place in counts)


def masked_table(
    rows: Sequence[Sequence[int]], total: Sequence[MaskedCell], few: int
) -> tuple[tuple[MaskedCell, ...], ...]:
    """The rows, each with its sum last. ``total``: the sums of the columns, masked once for all tables that
    part the same people; a row that stands alone is the total itself."""
    if len(rows) < 2:
        return (tuple(total),) * len(rows)
    whole = [(*row, sum(row)) for row in rows]
    whole.append(tuple(map(sum, zip(*whole, strict=True))))
    counts = {(r, c): count for r, row in enumerate(whole) for c, count in enumerate(row)}
    height, width = range(len(whole)), range(len(total))
    lines = [tuple((r, c) for c in width) for r in height] + [tuple((r, c) for r in height) for c in width]
    foot = frozenset((len(rows), c) for c in width)
    hidden = _of_few({place: n for place, n in counts.items() if place not in foot}, few)
    hidden |= {(len(rows), c): cell.why for c, cell in enumerate(total) if cell.why}
    cells = _masked(_Sums(counts, tuple(lines), few, foot), hidden)
    return tuple(tuple(cells[r, c] for c in width) for r in range(len(rows)))


def _of_few(counts: Mapping[_Place, int], few: int) -> dict[_Place, Why]:
    return {place: "few" for place, count in counts.items() if 0 < count < few}


def _masked(sums: _Sums, hidden: dict[_Place, Why]) -> dict[_Place, MaskedCell]:
    hidden = dict(hidden)
    while (told := _computed(sums, hidden)) is not None:
        if hidden[told] == "few" and not _alone(sums, hidden, told):
            # The bounds alone tell it: without them others need not go.
            hidden[told] = "withheld"
            continue
        near = [place for number in sums.lines_of(told) for place in sums.lines[number]]
        open_ones = [p for p in sums.counts if p not in hidden and p not in sums.fixed]
        if not open_ones:
            break
        # The smallest of the same lines costs least.
        choice = [place for place in near if place in open_ones] or open_ones
        hidden[min(choice, key=sums.counts.__getitem__)] = "withheld"
    return {
        place: MaskedCell(None, hidden[place]) if place in hidden else MaskedCell(count)
        for place, count in sums.counts.items()
    }


def _computed(sums: _Sums, hidden: Mapping[_Place, Why]) -> _Place | None:
    """A small number that the rest gives away; None where there is none."""
    bounds = _bounds(sums, hidden)
    open_ones = {place for place in hidden if bounds[place][0] < bounds[place][1]}
    secret = (place for place in hidden if 0 < sums.counts[place] < sums.few)
    return next((p for p in secret if p not in open_ones or _alone(sums, open_ones, p)), None)


def _alone(sums: _Sums, hidden: Collection[_Place], place: _Place) -> bool:
    """Whether the sums leave only this place open: it joins two lines that no other masked ones join.

    Each place stands in two lines at most; one that stands in a single line is joined to the ground.
    """
    ends = {other: (*sums.lines_of(other), _GROUND)[:2] for other in hidden}
    start, goal = ends.pop(place)
    reached, grown = {start}, True
    while grown:
        found = {end for pair in ends.values() if reached & set(pair) for end in pair} - reached
        reached, grown = reached | found, bool(found)
    return goal not in reached


def _bounds(sums: _Sums, hidden: Mapping[_Place, Why]) -> dict[_Place, tuple[int, int]]:
    """What each count can be, for somebody who reads all that is shown."""
    bounds: dict[_Place, tuple[int, int]] = {place: (n, n) for place, n in sums.counts.items()}
    bounds |= {place: (1, sums.few - 1) if why == "few" else (0, _NO_END) for place, why in hidden.items()}
    for _ in range(_ROUNDS):
        before = dict(bounds)
        for *parts, total in sums.lines:
            _narrow(bounds, parts, total)
        if bounds == before:
            break
    return bounds


def _narrow(bounds: dict[_Place, tuple[int, int]], parts: list[_Place], total: _Place) -> None:
    """What the other parts and the sum leave for each."""
    low, high = (sum(bounds[part][end] for part in parts) for end in (0, 1))
    bounds[total] = (max(bounds[total][0], low), min(bounds[total][1], high))
    least, most = bounds[total]
    for part in parts:
        own_low, own_high = bounds[part]
        bounds[part] = (max(own_low, least - (high - own_high)), min(own_high, most - (low - own_low)))
