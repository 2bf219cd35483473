"""Label ceilings: whether a course is denser or longer than the product's label allows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from followup.clinical.plan.taper import counts_each_day
from followup.clinical.protocol.formulary import Country, LabelCeiling, Medicine


@dataclass(frozen=True)
class LabelPassed:
    """The first day (from 1) on which a course passes the label of ``country``.

    ``allowed`` is the label's most drops a day on that day; 0: the label has ended by then.
    """

    country: Country
    day: int
    count: int
    allowed: int
    ceiling: LabelCeiling


def above_label(
    medicine: Medicine, steps: Sequence[tuple[int, int]], country: Country | None = None
) -> LabelPassed | None:
    """Where a course of (count a day, days) steps first passes a label; None: it stays within.

    Without a country, or where none of its figures is on file, every label is asked, and the first
    to be passed is given: the strictest known. A product without a ceiling has none to be passed.
    """
    known = dict.fromkeys(c.country for c in medicine.labels)
    countries = [country] if country in known else known
    found = [_first(medicine, steps, name) for name in countries]
    return min((f for f in found if f is not None), key=lambda f: f.day, default=None)


def _first(medicine: Medicine, steps: Sequence[tuple[int, int]], country: Country) -> LabelPassed | None:
    ceilings = [c for c in medicine.labels if c.country == country]
    for day, count in enumerate(counts_each_day(steps), 1):
        in_force = [
            c for c in ceilings if c.from_day <= day and (c.days is None or day < c.from_day + c.days)
        ]
        allowed = max((c.drops_a_day for c in in_force), default=0)
        if count > allowed:
            ceiling = in_force[0] if in_force else ceilings[-1]
            return LabelPassed(country, day, count, allowed, ceiling)
    return None
