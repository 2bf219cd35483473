"""Random instances of the trip problem, small enough to be solved by other means.

Two makers: ``scattered`` throws dice over every field of the interface; ``follow_up`` tells the
story of one or two operated eyes and looks at nothing but that story.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from random import Random
from typing import Any

import pytest

from followup.timing.calendar import Calendar, parse_calendar
from followup.timing.trips import BookedTrip, GapRule, Since, TripNeed, TripsPlan, plan_trips

START = date(2027, 3, 1)  # a Monday
SERVICES = ("review", "pressure", "macula")


@dataclass
class Instance:
    """One problem. ``days`` are the days of the horizon; outside them the clinic is closed."""

    needs: list[TripNeed]
    days: list[date]
    calendar: Calendar
    gaps: list[GapRule] = field(default_factory=list)
    booked: list[BookedTrip] = field(default_factory=list)
    last_check: date | None = None
    served: dict[str, date] = field(default_factory=dict)

    def plan(self) -> TripsPlan:
        return plan_trips(
            self.needs,
            gaps=self.gaps,
            booked=self.booked,
            calendar=self.calendar,
            horizon_start=self.days[0],
            last_check=self.last_check,
            served=self.served,
        )


def day(number: int) -> date:
    return START + timedelta(days=number)


def closed_but_on(rng: Random, days: list[date], openness: float, capacity: bool) -> Calendar:
    """Open on some of ``days`` only; services with their own days, room and places taken."""
    open_days = [d for d in days if rng.random() < openness]
    services: list[dict[str, Any]] = []
    for name in SERVICES:
        entry: dict[str, Any] = {"name": name}
        if rng.random() < 0.4:
            entry["dates"] = [d for d in open_days if rng.random() < 0.7]
        if capacity and rng.random() < 0.7:
            entry["capacity"] = rng.randint(0, 3)
        services.append(entry)
    taken = [
        {"service": name, "date": d, "places": rng.randint(0, 3)}
        for name in SERVICES
        for d in days
        if rng.random() < 0.5
    ]
    return parse_calendar(
        {"open_weekdays": [], "extra_days": open_days, "services": services, "places_taken": taken}
    )


def scattered(rng: Random, length: int, most_needs: int) -> Instance:
    days = [day(n) for n in range(length)]
    needs: list[TripNeed] = []
    for number in range(rng.randint(1, most_needs)):
        first = rng.randint(-2, length - 1)
        last = min(first + rng.randint(0, length // 2), length)
        after = tuple(
            Since(
                base.key,
                rng.randint(0, length // 3),
                rng.choice([None, rng.randint(0, length // 2)]),
                rng.choice([None, rng.randint(0, length // 2)]),
            )
            for base in needs
            if rng.random() < 0.3
        )
        needs.append(
            TripNeed(
                key=f"n{number}",
                service=rng.choice(SERVICES),
                earliest=day(first),
                target=day(rng.randint(first, last)),
                latest=day(last),
                weight=rng.choice([0, 1, 1, 1, 2, 5]),
                urgent=rng.random() < 0.25,
                after=after,
            )
        )
    rng.shuffle(needs)
    gaps = [
        GapRule(
            f"gap{number}",
            frozenset(day(n) for n in range(-3, length + 2) if rng.random() < 0.7),
            rng.randint(1, length // 2),
            rng.choice(SERVICES),
        )
        for number in range(rng.choice([0, 0, 1, 1, 2]))
    ]
    booked = [BookedTrip(rng.choice(days), rng.random() < 0.4) for _ in range(rng.choice([0, 0, 1, 2]))]
    served = {needs[0].key: day(rng.randint(-6, 1))} if rng.random() < 0.2 else {}
    return Instance(
        needs,
        days,
        closed_but_on(rng, days, rng.choice([1.0, 0.8, 0.5]), rng.random() < 0.6),
        gaps,
        booked,
        rng.choice([None, day(rng.randint(-5, 0))]),
        served,
    )


def follow_up(rng: Random, length: int, most_needs: int) -> Instance:
    """One or two eyes, operated some days apart: first look, wound, macula twice, stitch, glasses."""
    unit = max(1, length // 10)
    needs: list[TripNeed] = []
    gaps: list[GapRule] = []
    for eye in ("right", "left")[: rng.randint(1, 2)]:
        shift = rng.randint(-2, length // 3)

        def need(
            what: str,
            service: str,
            a: int,
            t: int,
            b: int,
            *after: Since,
            eye: str = eye,
            shift: int = shift,
        ) -> TripNeed:
            first, target, last = (day(n * unit + shift) for n in (a, t, b))
            return TripNeed(
                f"{eye}:{what}", service, first, target, last, urgent=what == "first", after=after
            )

        story = [
            need("first", "review", 0, 1, 1),
            need("wound", "review", 2, 2, 3),
            need("macula", "macula", 3, 4, 5),
            need("macula again", "macula", 6, 7, 9, Since(f"{eye}:macula", 3 * unit)),
            need("stitch", "review", 3, 4, 6),
            need("glasses", "review", 4, 5, 8, Since(f"{eye}:stitch", 2 * unit, 3 * unit, 4 * unit)),
            need("pressure", "pressure", 2, 4, 5),
        ]
        kept = rng.sample(story, rng.randint(2, max(2, most_needs // 2)))
        keys = {one.key for one in kept}
        needs += [one for one in kept if all(a.need in keys for a in one.after)]
        on_drops = frozenset(day(shift + n) for n in range(rng.randint(2, 6) * unit))
        gaps.append(GapRule(f"{eye}:gap", on_drops, rng.randint(2, 4) * unit))
    days = [day(n) for n in range(length)]
    return Instance(
        needs,
        days,
        closed_but_on(rng, days, rng.choice([1.0, 0.85, 0.6]), rng.random() < 0.5),
        gaps,
        [BookedTrip(rng.choice(days), rng.random() < 0.3)] if rng.random() < 0.5 else [],
        rng.choice([None, day(rng.randint(-4, -1))]),
    )


@pytest.fixture(scope="session")
def make() -> Callable[[str, int, int, int], Instance]:
    """``make(maker, seed, length, most_needs)``: the same instance every time."""
    makers = {"scattered": scattered, "follow_up": follow_up}
    return lambda maker, seed, length, most: makers[maker](Random(f"{maker}{seed}"), length, most)
