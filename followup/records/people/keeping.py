"""How long a medical record is kept, whoever asks that it be erased: the clinic's years or the rule's."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path


@dataclass(frozen=True)
class KeepingRule:
    """``years`` after the last visit, or after the birthday of ``majority``, whichever is later."""

    years: int
    majority: int
    because: str
    source: str
    mark: str


@cache
def keeping_rule() -> KeepingRule:
    """The rule that the program brings, for clinics that have not said their own years."""
    return KeepingRule(**tomllib.loads(Path(__file__).with_name("keeping.toml").read_text("utf-8")))


def kept_until(seen: Iterable[date], *, born: date | None, birth_year: int | None, years: int | None) -> date:
    """The last day on which the record must be kept.

    ``seen``: days on which the patient was operated or looked at, at least one. ``years``: the clinic's,
    or None: those of the rule. Of whom only the year of birth is known, nobody is of age before its last day.
    """
    rule = keeping_rule()
    of_age = _years_on(born or date(birth_year or 1, 12, 31), rule.majority)
    return _years_on(max(*seen, of_age), years if years is not None else rule.years)


def _years_on(day: date, years: int) -> date:
    """The same day so many years later; of 29 February the last day of that month."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return day.replace(year=day.year + years, day=28)
