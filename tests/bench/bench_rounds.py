"""How the search for rounds grows with the day: ratios within one run, nothing is judged.

Run it by hand: ``python tests/bench/bench_rounds.py``. Every doubling of the sets of slots and
every phase should cost in proportion; seconds depend on the machine and are only shown.
"""

from __future__ import annotations

import sys
from time import perf_counter

from followup.timing.rounds import Phase, RoundBottle, plan_rounds
from followup.timing.rounds_search import _choices, _least_own_cost
from followup.timing.slotsets import slot_sets

DAYS_AND_COUNTS = [
    (3, (12, 4, 3, 3)),
    (4, (8, 4, 3, 3)),
    (7, (6, 4, 3, 2)),
    (7, (5, 3, 2)),
    (7, (4, 3)),
    (14, (3, 3)),
    (14, (2,)),
    (14, (1,)),
]


def cold_seconds(slots: int, phases: int, repeats: int = 5) -> float:
    """The quickest of some plans, each made with nothing remembered from the one before."""
    regimen = [Phase(days, dict(zip("abcd", counts, strict=False))) for days, counts in DAYS_AND_COUNTS]
    bottles = [RoundBottle(key) for key in "abcd"]
    taken = []
    for _ in range(repeats):
        for remembered in (slot_sets, _choices, _least_own_cost):
            remembered.cache_clear()
        start = perf_counter()
        plan_rounds(slots, regimen[:phases], bottles)
        taken.append(perf_counter() - start)
    return min(taken)


def main() -> None:
    base = cold_seconds(15, 8)
    sys.stdout.write(f"15 slots, 8 phases: {base * 1000:.1f} ms\n")
    for slots, phases in [(13, 8), (17, 2), (17, 4), (17, 8), (18, 8), (19, 8)]:
        seconds = cold_seconds(slots, phases)
        took = f"{seconds / base:.2f} of that for {2 ** (slots - 15):g} of its sets"
        sys.stdout.write(f"{slots} slots, {phases} phases: {took} ({seconds * 1000:.1f} ms)\n")


if __name__ == "__main__":
    main()
