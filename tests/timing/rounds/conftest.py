"""Invented timetables to try the rounds on, and what both oracles share.

One generator writes regimens as a clinic would (courses that start and step down or up on their
own days) and knows nothing of how rounds are found. The other aims at what a search could get
wrong: ties, prices equal to a difference of gaps, empty phases, contradictory constraints.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations, groupby

import pytest

from followup.timing.rounds import Phase, RoundBottle


@dataclass(frozen=True)
class Timetable:
    slots: int
    phases: tuple[Phase, ...]
    bottles: tuple[RoundBottle, ...]
    previous: frozenset[int] | None
    price: int


def _steps(rng: random.Random, slots: int) -> list[tuple[int, int]]:
    """A course as (count a day, days) steps: a taper, a plateau, or one that rises again."""
    start = rng.choice([1, 2, 2, 3, 4, 4, 6, 8])
    taper = [(count, rng.choice([3, 4, 7, 14])) for count in range(start, 0, -1)]
    plateau = [(start, rng.choice([5, 7, 14, 28]))]
    rising = [(max(1, start // 2), 7), (start, 5), (max(1, start - 1), 7)]
    steps = rng.choice([taper, plateau, rising])
    return [(min(count, slots), days) for count, days in steps]


def _clinic_bottle(rng: random.Random, key: str, slots: int, most: int) -> RoundBottle:
    """One course in three has a condition of its own."""
    if rng.random() < 0.67:
        return RoundBottle(key)
    evening = frozenset(range(max(0, slots - most), slots))
    meals = frozenset(range(0, slots, max(1, slots // max(3, most))))
    return rng.choice(
        [
            RoundBottle(key, shortest=rng.choice([1, 2, 2, 3, 8])),
            RoundBottle(key, allowed=evening),
            RoundBottle(key, allowed=meals),
            RoundBottle(key, fixed=frozenset(rng.sample(range(slots), min(most, slots)))),
        ]
    )


def clinic_timetable(rng: random.Random, slots: int, most_phases: int) -> Timetable:
    """Up to four courses laid over the calendar; equal days in a row make a phase."""
    courses: dict[str, dict[int, int]] = {}
    for number in range(rng.randint(1, 4)):
        day, counts = rng.choice([0, 0, 0, 1, 7]), {}
        for count, days in _steps(rng, slots):
            counts.update(dict.fromkeys(range(day, day + days), count))
            day += days
        courses[f"course {number}"] = counts
    last = max(max(counts) for counts in courses.values())
    due = [{key: days[day] for key, days in courses.items() if day in days} for day in range(last + 1)]
    phases = [Phase(len(list(same)), counts) for counts, same in groupby(due) if counts][:most_phases]
    bottles = [
        _clinic_bottle(rng, key, slots, most=max(phase.counts.get(key, 1) for phase in phases))
        for key in courses
    ]
    previous = rng.choice([None, frozenset(rng.sample(range(slots), rng.randint(1, min(4, slots))))])
    return Timetable(slots, tuple(phases), tuple(bottles), previous, 100)


def aimed_timetable(rng: random.Random, slots: int, most_phases: int) -> Timetable:
    """Ties and edges on purpose."""

    def some(least: int) -> frozenset[int]:
        return frozenset(rng.sample(range(slots), rng.randint(least, slots)))

    counts = [rng.randint(1, min(3, slots)) for _ in range(rng.randint(1, 3))]
    bottles = [
        RoundBottle(
            f"b{number}",
            shortest=rng.choice([1, 1, 1, 1, 2, 2, 5, 24]),
            allowed=rng.choice([None, None, None, some(min(slots, count + 1)), some(1)]),
            fixed=rng.choice([None] * 5 + [frozenset(rng.sample(range(slots), count))]),
        )
        for number, count in enumerate(counts)
    ]
    phases = []
    for _ in range(rng.randint(1, most_phases)):
        kept = {b.key: n for b, n in zip(bottles, counts, strict=True) if rng.random() < 0.8}
        phases.append(Phase(rng.choice([1, 1, 2, 7]), kept))
        counts = [
            count if bottle.fixed and rng.random() < 0.9 else min(slots, max(1, count + rng.randint(-1, 1)))
            for bottle, count in zip(bottles, counts, strict=True)
        ]
    previous = rng.choice([None, frozenset(), frozenset(range(slots)), some(1)])
    return Timetable(slots, tuple(phases), tuple(bottles), previous, rng.choice([0, 1, 2, 14, 100, 10**9]))


@pytest.fixture(scope="session", params=[clinic_timetable, aimed_timetable], ids=["clinic", "aimed"])
def invent(request: pytest.FixtureRequest) -> Callable[[random.Random, int, int], Timetable]:
    """Both generators in turn."""
    return request.param


@pytest.fixture(scope="session")
def aimed() -> Callable[[random.Random, int, int], Timetable]:
    """The second generator alone: its small counts can be proved on a whole waking day."""
    return aimed_timetable


@pytest.fixture(scope="session")
def choices() -> Callable[[RoundBottle, int, int], list[tuple[int, ...]]]:
    """All times a bottle could have with that count, straight from the words of the rule."""

    def possible(bottle: RoundBottle, count: int, slots: int) -> list[tuple[int, ...]]:
        found = []
        for times in combinations(range(slots), count):
            gaps = [(b - a) % 24 or 24 for a, b in zip(times, times[1:] + times[:1], strict=True)]
            if min(gaps) < bottle.shortest:
                continue
            if bottle.allowed is not None and not set(times) <= bottle.allowed:
                continue
            if bottle.fixed is not None and set(times) != bottle.fixed:
                continue
            found.append(times)
        return found

    return possible
