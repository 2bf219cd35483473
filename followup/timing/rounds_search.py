"""The exact search behind the rounds: a dynamic programme over all sets of slots."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from followup.timing.slotsets import (
    Costs,
    Masks,
    Totals,
    slot_sets,
    spread_to_neighbours,
    spread_to_supersets,
)

# Above every sum that can occur (the caller keeps sums under 2^60), with room to add a price.
NEVER = 2**61
_NOT_ITSELF = 2**30
NO_SET = -1


@dataclass(frozen=True)
class BottleKind:
    """Bottles of one kind have the same choice of times: count a day, least gap, slots as masks.

    ``fixed`` is the one set it may have, ``NO_SET`` where that set breaks another constraint.
    """

    count: int
    shortest: int
    allowed: int
    fixed: int | None

    def possible(self, slots: int) -> bool:
        """Whether any set of slots satisfies it."""
        return bool(len(_choices(slots, self)))


@dataclass(frozen=True)
class Demand:
    """What one phase asks for: its days, and the kind of each of its bottles."""

    days: int
    kinds: tuple[BottleKind, ...]


@dataclass(frozen=True)
class _Candidates:
    """A phase's sets of rounds with the fewest members, ascending, and what each costs."""

    masks: Masks
    costs: Totals


@lru_cache(maxsize=256)
def best_rounds(slots: int, demands: tuple[Demand, ...], before: int | None, price: int) -> tuple[int, ...]:
    """The masks of the best rounds, one a phase. ``before``: the mask of the sheet in force.

    Fewest rounds is settled phase by phase. The two next aims are one number: the gaps and new
    times, scaled past any number of days, plus the days without a round at rising. What is
    still equal goes to the smallest mask, so the phases are costed from the last to the first
    and then chosen from the first to the last. Kept, since most plans of a clinic ask the same.
    """
    scale = sum(demand.days for demand in demands) + 1
    costed = _costed_to_the_end(slots, demands, price * scale, scale)
    chosen: list[int] = []
    for phase in costed:
        totals = phase.costs
        if before is not None:
            totals = totals + price * scale * np.bitwise_count(phase.masks & ~before).astype(np.int64)
        before = int(phase.masks[int(np.argmin(totals))])
        chosen.append(before)
    return tuple(chosen)


def choices_within(slots: int, rounds: int, kind: BottleKind) -> Masks:
    """Every set of a bottle's own times that lies within the rounds, ascending."""
    choices = _choices(slots, kind)
    within: Masks = choices[(choices & ~rounds) == 0]
    return within


def least_gaps(slots: int, rounds: int, kind: BottleKind) -> int:
    """The smallest gap sum that a bottle can have within the rounds."""
    return int(slot_sets(slots).gap_sum[choices_within(slots, rounds, kind)].min())


def _costed_to_the_end(slots: int, demands: Sequence[Demand], price: int, scale: int) -> list[_Candidates]:
    """Every phase's candidates with the cost of that phase and, at best, of all after it."""
    costed: list[_Candidates] = []
    ahead = np.zeros(1 << slots, np.int64)
    for demand in reversed(demands):
        own = _candidates(slots, demand)
        late = demand.days * _not_at_rising(own.masks)
        costed.append(_Candidates(own.masks, own.costs * scale + late + ahead[own.masks]))
        ahead = np.full(1 << slots, NEVER, np.int64)
        ahead[own.masks] = costed[-1].costs
        if len(costed) < len(demands):
            spread_to_neighbours(ahead, price)
    return costed[::-1]


def _candidates(slots: int, demand: Demand) -> _Candidates:
    total = np.zeros(1 << slots, np.int64)
    possible = np.ones(1 << slots, np.bool_)
    for kind, bottles in Counter(demand.kinds).items():
        own = _least_own_cost(slots, kind)
        total += own * np.int64(bottles)
        possible &= own < _NOT_ITSELF
    masks = np.flatnonzero(possible).astype(np.int64)
    size = slot_sets(slots).size[masks]
    fewest = masks[size == size.min()]
    return _Candidates(fewest, total[fewest] * demand.days)


@lru_cache(maxsize=16)
def _least_own_cost(slots: int, kind: BottleKind) -> Costs:
    """For every set of rounds, the gap sum of the bottle's best times within it."""
    cost = np.full(1 << slots, _NOT_ITSELF, np.int32)
    choices = _choices(slots, kind)
    cost[choices] = slot_sets(slots).gap_sum[choices]
    spread_to_supersets(cost)
    cost.flags.writeable = False
    return cost


@lru_cache(maxsize=32)
def _choices(slots: int, kind: BottleKind) -> Masks:
    """Every set of slots that could be the bottle's own times, ascending."""
    sets = slot_sets(slots)
    fits = (sets.size == kind.count) & (sets.narrowest >= kind.shortest)
    fits &= (sets.masks & ~kind.allowed) == 0
    if kind.fixed is not None:
        fits &= sets.masks == kind.fixed
    return np.flatnonzero(fits).astype(np.int64)


def _not_at_rising(masks: Masks) -> Totals:
    """1 for a set without slot 0, else 0."""
    return 1 - (masks & 1)
