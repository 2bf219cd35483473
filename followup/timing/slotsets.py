"""Sets of slots as bit masks, and three passes over all of them at once.

A set is a number: bit ``s`` is set when slot ``s`` is in it. Every table has one entry a set, so
an index is a set and the smallest index is the smallest sum of 2^slot.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

HOURS_A_DAY = 24

Sizes = NDArray[np.uint8]
Hours = NDArray[np.int8]
Costs = NDArray[np.int32]
Totals = NDArray[np.int64]
Masks = NDArray[np.int64]
_Number = TypeVar("_Number", np.int32, np.int64)


@dataclass(frozen=True)
class SlotSets:
    """Facts of every set of slots, taken round the 24 hour clock, the night included.

    ``size``: how many slots. ``gap_sum``: sum of squared gaps, hours². ``narrowest``: the
    shortest gap, hours. One slot alone has one gap of 24 hours.
    """

    masks: Masks
    size: Sizes
    gap_sum: Costs
    narrowest: Hours


@lru_cache(maxsize=4)
def slot_sets(slots: int) -> SlotSets:
    """The table for a day of ``slots`` hourly slots (built by adding one later slot at a time)."""
    count = 1 << slots
    first = np.zeros(count, np.int8)
    last = np.zeros(count, np.int8)
    inner = np.zeros(count, np.int32)
    narrowest = np.full(count, HOURS_A_DAY, np.int8)
    for slot in range(slots):
        old, new = slice(1, 1 << slot), slice((1 << slot) + 1, 2 << slot)
        gap = np.int8(slot) - last[old]
        inner[new] = inner[old] + gap.astype(np.int32) ** 2
        narrowest[new] = np.minimum(narrowest[old], gap)
        first[new] = first[old]
        first[1 << slot] = slot
        last[1 << slot : 2 << slot] = slot
    night = HOURS_A_DAY - (last - first)
    gap_sum = inner + night.astype(np.int32) ** 2
    gap_sum[0] = 0
    masks = np.arange(count, dtype=np.int64)
    return _read_only(SlotSets(masks, np.bitwise_count(masks), gap_sum, np.minimum(narrowest, night)))


def spread_to_supersets(values: Costs) -> None:
    """Give every set, in place, the least value among its subsets."""
    for without, having in _pairs(values):
        np.minimum(having, without, out=having)


def spread_to_neighbours(ahead: Totals, price: int) -> None:
    """Give every set, in place, the least of ``ahead[next set] + price x slots new in it``.

    Slot by slot: the next set keeps it, drops it free of charge, or takes it up at the price.
    """
    for without, having in _pairs(ahead):
        least = np.minimum(without, having)
        np.minimum(without, having + price, out=without)
        having[...] = least


def mask_of(slots: frozenset[int]) -> int:
    """The mask of a set of slot numbers."""
    return sum(1 << slot for slot in slots)


def slots_of(mask: int) -> tuple[int, ...]:
    """The slot numbers of a mask, ascending."""
    return tuple(slot for slot in range(mask.bit_length()) if mask >> slot & 1)


def _pairs(values: NDArray[_Number]) -> list[tuple[NDArray[_Number], NDArray[_Number]]]:
    """For every slot: the values of all sets without it, and of the same sets with it added."""
    slots = len(values).bit_length() - 1
    halves = [values.reshape(-1, 2, 1 << slot) for slot in range(slots)]
    return [(half[:, 0], half[:, 1]) for half in halves]


def _read_only(sets: SlotSets) -> SlotSets:
    for table in (sets.masks, sets.size, sets.gap_sum, sets.narrowest):
        table.flags.writeable = False
    return sets
