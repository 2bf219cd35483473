"""Each bottle's own times among the rounds: even gaps, and no new time that does not earn its price.

The rounds of every phase are known. A bottle takes its times from them so that, over all phases in
which it is given, the sum of days x squared gaps plus the price of every time that is new to this
bottle is least; then fewest days without a time at rising, then the smallest sum of 2^slot, first
phase first. So a bottle keeps its times while its count stays and its rounds are there, and a lower
count's times are some of the higher's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from followup.timing.rounds_search import NEVER, BottleKind, choices_within
from followup.timing.slotsets import Masks, Totals, slot_sets, slots_of, spread_to_neighbours

# Above so many pairs of sets the pass over all sets of slots is quicker than a table of pairs.
_MOST_PAIRS = 1 << 16


@dataclass(frozen=True)
class Stay:
    """One phase of one bottle: its days, the mask of the rounds, and what the bottle asks for."""

    days: int
    rounds: int
    kind: BottleKind


def own_times(
    slots: int, stays: Sequence[Stay], before: int | None, price: int, scale: int
) -> list[tuple[int, ...]]:
    """The best times of one bottle, one tuple a phase. ``before``: its times on the sheet in force.

    ``scale`` is above any number of days, so that days without a time at rising only break ties.
    """
    runs = _runs(stays)
    costed: list[tuple[Masks, Totals]] = []
    for run in reversed(runs):
        masks = choices_within(slots, run.rounds, run.kind)
        gaps = slot_sets(slots).gap_sum[masks].astype(np.int64)
        totals = run.days * (gaps * scale + 1 - (masks & 1))
        if costed:
            totals = totals + _ahead(slots, masks, *costed[-1], price * scale)
        costed.append((masks, totals))
    chosen: list[int] = []
    for masks, totals in reversed(costed):
        new = 0 if before is None else np.bitwise_count(masks & ~before).astype(np.int64)
        before = int(masks[int(np.argmin(totals + price * scale * new))])
        chosen.append(before)
    by_run = dict(zip(runs, chosen, strict=True))
    return [slots_of(mask) for run, mask in by_run.items() for _ in range(run.phases)]


@dataclass(frozen=True)
class _Run:
    """Phases one after the other with the same rounds and the same demand: they share their times."""

    number: int
    days: int
    phases: int
    rounds: int
    kind: BottleKind


def _runs(stays: Sequence[Stay]) -> list[_Run]:
    """The phases joined where nothing changes for the bottle.

    Exact: of two sets that are both possible in two such phases the better one serves both, and on
    the way from one to the other no fewer times are new.
    """
    runs: list[_Run] = []
    for stay in stays:
        last = runs[-1] if runs else None
        if last and (last.rounds, last.kind) == (stay.rounds, stay.kind):
            runs[-1] = _Run(last.number, last.days + stay.days, last.phases + 1, last.rounds, last.kind)
        else:
            runs.append(_Run(len(runs), stay.days, 1, stay.rounds, stay.kind))
    return runs


def _ahead(slots: int, masks: Masks, following: Masks, totals: Totals, price: int) -> Totals:
    """For each of ``masks``, the least total from the next phase on, the new times priced."""
    if len(masks) * len(following) <= _MOST_PAIRS:
        new = np.bitwise_count(following[None, :] & ~masks[:, None]).astype(np.int64)
        least: Totals = (totals[None, :] + price * new).min(axis=1)
        return least
    ahead = np.full(1 << slots, NEVER, np.int64)
    ahead[following] = totals
    spread_to_neighbours(ahead, price)
    return ahead[masks]
