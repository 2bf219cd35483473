"""Who comes on the day that was agreed: learned from the clinic's own past, for the days ahead.

A visit comes on its day with the share of its pressure risk, drawn towards that of all visits; else on
another day, so many days sooner or later as those of the past that did not come on theirs; or never.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from pathlib import Path

import numpy as np

from followup.records.figures.attended import PastVisit
from followup.wilson import wilson

CONFIDENCE = 95


@dataclass(frozen=True)
class AttendanceRules:
    """``days`` of the past that count; ``least`` visits from which anything is learned; ``weight`` of all of
    them against those of one kind, in visits; ``percent`` of days that a range is to hold."""

    days: int
    least: int
    weight: float
    percent: float
    because: str
    source: str
    mark: str


@dataclass(frozen=True)
class Attendance:
    """What the past says. ``on_day`` and ``seen`` count visits by tier, ``others`` those that did not come on
    their day, by how many days later they came (None: never)."""

    rules: AttendanceRules
    on_day: Mapping[str, int]
    seen: Mapping[str, int]
    others: Mapping[int | None, int]
    in_window: int
    late: int

    @property
    def all(self) -> int:
        return sum(self.seen.values())

    @property
    def came(self) -> int:
        return sum(self.on_day.values())

    @property
    def never(self) -> int:
        return self.others.get(None, 0)

    @property
    def enough(self) -> bool:
        """Whether the past is long enough to learn from."""
        return self.all >= self.rules.least

    @property
    def interval(self) -> tuple[float, float]:
        """Wilson's interval of the share that came on its day, in percent."""
        return wilson(self.came, self.all, CONFIDENCE)

    def share(self, tier: str | None) -> float:
        """How likely a visit of this tier comes on its day; None: of no known one."""
        overall = self.came / self.all
        if tier is None:
            return overall
        own, weight = self.seen.get(tier, 0), self.rules.weight
        return (self.on_day.get(tier, 0) + weight * overall) / (own + weight)

    def chances(self, tier: str | None) -> dict[int, float]:
        """How likely it comes so many days after its day, below nought before it."""
        on_day, others = self.share(tier), sum(self.others.values())
        elsewhere = {
            later: (1 - on_day) * count / others for later, count in self.others.items() if later is not None
        }
        return {0: on_day} | elsewhere


@dataclass(frozen=True)
class Arrivals:
    """How many are likely to come on a day: the mean, and the ends of the range that holds so many days."""

    mean: float
    low: int
    high: int


@cache
def attendance_rules() -> AttendanceRules:
    """The rules that the program brings."""
    told = tomllib.loads(Path(__file__).with_name("attendance.toml").read_text("utf-8"))
    return AttendanceRules(**told)


def learned(past: Iterable[PastVisit], rules: AttendanceRules) -> Attendance:
    """What these visits teach."""
    visits = list(past)
    away = [one for one in visits if one.came != one.day]
    return Attendance(
        rules,
        on_day=Counter(one.tier for one in visits if one.came == one.day),
        seen=Counter(one.tier for one in visits),
        others=Counter((one.came - one.day).days if one.came else None for one in away),
        in_window=sum(one.came is not None and one.came <= one.last for one in away),
        late=sum(one.came is not None and one.came > one.last for one in away),
    )


def arrivals(
    coming: Iterable[tuple[date, str | None]], found: Attendance, start: date, days: int
) -> tuple[Arrivals, ...]:
    """Day by day from ``start`` on, of visits by day and tier."""
    by_day: list[Counter[float]] = [Counter() for _ in range(days)]
    kinds = Counter(coming)
    chances = {tier: found.chances(tier) for _, tier in kinds}
    for (day, tier), count in kinds.items():
        for later, chance in chances[tier].items():
            place = (day + timedelta(days=later) - start).days
            if 0 <= place < days and chance > 0:
                by_day[place][chance] += count
    return tuple(_range(counts, found.rules.percent) for counts in by_day)


def _range(counts: Mapping[float, int], percent: float) -> Arrivals:
    """Of independent visits: the exact distribution of how many come, its mean and middle ``percent``."""
    likely = np.ones(1)
    for chance, count in counts.items():
        likely = np.convolve(likely, _binomial(chance, count))
    up_to = np.cumsum(likely)
    tail = (1 - percent / 100) / 2
    low, high = (int(np.searchsorted(up_to, edge)) for edge in (tail, 1 - tail))
    mean = sum(chance * count for chance, count in counts.items())
    return Arrivals(mean, low, min(high, len(likely) - 1))


def _binomial(chance: float, count: int) -> np.ndarray:
    """How likely each number of ``count`` visits is that come with one chance, by squaring."""
    made, squared = np.ones(1), np.array([1 - chance, chance])
    while count:
        if count & 1:
            made = np.convolve(made, squared)
        squared, count = np.convolve(squared, squared), count >> 1
    return made
