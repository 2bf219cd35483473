"""How the search for trips grows, as ratios within one run: python tests/bench/bench_trips.py

Prints how much longer two eyes take than one, a weekday calendar than an open one, and a plan in
which something must give way than one in which nothing must. Seconds are never asserted: they
say more about the machine than about the search.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from followup.timing.calendar import Calendar, parse_calendar
from followup.timing.trips import GapRule, Since, TripNeed, plan_trips

START = date(2027, 1, 4)
WINDOWS = (
    ("first", "review", 1, 1, 2),
    ("wound", "review", 5, 7, 9),
    ("leak", "review", 5, 7, 9),
    ("look", "review", 2, 3, 4),
    ("pressure", "pressure", 10, 14, 14),
    ("pressure end", "pressure", 78, 78, 84),
    ("macula", "macula", 28, 35, 42),
    ("macula again", "macula", 60, 84, 90),
    ("retina", "retina", 30, 45, 60),
    ("stitches", "stitches", 42, 49, 63),
    ("refraction", "refraction", 78, 84, 105),
    ("rebound", "review", 91, 98, 112),
)
AFTER = {"macula again": Since("macula", 28), "refraction": Since("stitches", 14, 21, 42)}
WEEK = {
    "open_weekdays": ["monday", "tuesday", "wednesday", "thursday", "friday"],
    "services": [
        {"name": "macula", "weekdays": ["tuesday"]},
        {"name": "retina", "weekdays": ["thursday"]},
        {"name": "stitches", "weekdays": ["monday"]},
    ],
}


def eye(name: str, operated: int) -> tuple[list[TripNeed], list[GapRule]]:
    def on(day: int) -> date:
        return START + timedelta(days=operated + day)

    def after(what: str) -> tuple[Since, ...]:
        rule = AFTER.get(what)
        return (
            () if rule is None else (Since(f"{name}:{rule.need}", rule.earliest, rule.target, rule.latest),)
        )

    needs = [
        TripNeed(f"{name}:{what}", service, on(a), on(t), on(b), after=after(what))
        for what, service, a, t, b in WINDOWS
    ]
    gaps = [
        GapRule(f"{name}:all", frozenset(on(day) for day in range(1, 78)), 28),
        GapRule(f"{name}:dense", frozenset(on(day) for day in range(1, 50)), 14),
    ]
    return needs, gaps


def seconds(eyes: Sequence[tuple[list[TripNeed], list[GapRule]]], calendar: Calendar, runs: int = 5) -> float:
    needs = [need for some, _ in eyes for need in some]
    more: dict[str, Any] = {"gaps": [gap for _, some in eyes for gap in some], "calendar": calendar}
    times = []
    for _ in range(runs):
        began = time.perf_counter()
        plan_trips(needs, horizon_start=START, **more)
        times.append(time.perf_counter() - began)
    return min(times)


def main() -> None:
    right, left = eye("right", 0), eye("left", 10)
    week = parse_calendar(WEEK)
    shut = [str(START + timedelta(days=day)) for day in range(14, 32)]
    closed = parse_calendar({**WEEK, "holidays": shut})
    base = seconds([right, left], week)
    lines = (
        ("two eyes : one eye", base / seconds([right], week)),
        ("weekday calendar : always open", base / seconds([right, left], Calendar())),
        ("eighteen closed days : none", seconds([right, left], closed) / base),
    )
    for words, ratio in lines:
        print(f"{words:32} {ratio:6.2f}")  # noqa: T201


if __name__ == "__main__":
    main()
