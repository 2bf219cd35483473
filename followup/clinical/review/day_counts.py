"""Steps of a review as counts a day: what is left of them, and never less than was planned."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from followup.clinical.careplan import Step
from followup.clinical.plan.taper import counts_each_day
from followup.clinical.protocol.reviews import StepPair
from followup.timing.calendar import every_day


def never_less(steps: Sequence[StepPair], planned: Sequence[int]) -> tuple[StepPair, ...]:
    """``steps`` from tomorrow on, raised to what was planned anyway where that was more."""
    counts = counts_each_day(steps)
    length = max(len(counts), len(planned))
    return pairs([max(_at(counts, i), _at(planned, i)) for i in range(length)])


def counts_from(steps: Sequence[Step], day: date) -> tuple[int, ...]:
    """The count of every day from ``day`` to the end of ``steps``."""
    last = max((step.end for step in steps), default=day - timedelta(days=1))
    return tuple(next((s.count for s in steps if s.start <= d <= s.end), 0) for d in every_day(day, last))


def pairs(counts: Sequence[int]) -> tuple[StepPair, ...]:
    """Daily counts as (count a day, days); days without a drop stay in their place."""
    found: list[StepPair] = []
    for count in counts:
        if found and found[-1][0] == count:
            found[-1] = (count, found[-1][1] + 1)
        else:
            found.append((count, 1))
    while found and not found[-1][0]:
        found.pop()
    return tuple(found)


def _at(counts: Sequence[int], i: int) -> int:
    return counts[i] if i < len(counts) else 0
