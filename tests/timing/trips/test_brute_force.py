"""The planner against trying every set of days: small horizons, everything else allowed.

The trial below works on dates with plain sets and follows the words of the rules; it shares no
code and no number with the search that it checks.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import combinations, product
from typing import Any

import pytest

from followup.timing.trips import TripNeed

MAKERS = ("scattered", "follow_up")
ROUNDS = 10
PER_ROUND = 30


def final_window(need: TripNeed, done: dict[str, date]) -> tuple[date, date, date]:
    earliest, target, latest = need.earliest, need.target, need.latest
    for after in need.after:
        if after.need in done:
            base = done[after.need]
            earliest = max(earliest, base + timedelta(after.earliest))
            if after.target is not None:
                target = max(target, base + timedelta(after.target))
            if after.latest is not None:
                latest = max(latest, base + timedelta(after.latest))
    latest = max(latest, earliest)
    return earliest, min(max(target, earliest), latest), latest


def has_room(instance: Any, need: TripNeed, day: date, rushed: bool) -> bool:
    if not instance.calendar.offers(need.service, day):
        return False
    return instance.calendar.room(need.service, day) != 0 or rushed


def sort_out(instance: Any) -> tuple[dict[str, TripNeed], set[str], set[str]]:
    """Needs that a day exists for, needs that none exists for, needs whose time is over."""
    waiting = {n.key: n for n in instance.needs if n.key not in instance.served}
    rushed = {n.service for n in waiting.values() if n.urgent}
    days_for: dict[str, list[date]] = {}
    impossible: set[str] = set()
    missed: set[str] = set()
    while waiting:
        need = next(n for n in waiting.values() if not any(a.need in waiting for a in n.after))
        del waiting[need.key]
        bases = sorted({a.need for a in need.after if a.need in days_for})
        found = set()
        last = final_window(need, instance.served)[2]
        if not bases and last < instance.days[0]:
            missed.add(need.key)
            continue
        for chosen in product(*(days_for[base] for base in bases)):
            first, _, last = final_window(need, {**instance.served, **dict(zip(bases, chosen, strict=True))})
            found |= {
                d
                for d in instance.days
                if first <= d <= last
                and all(d >= c for c in chosen)
                and has_room(instance, need, d, need.service in rushed)
            }
        if found:
            days_for[need.key] = sorted(found)
        else:
            impossible.add(need.key)
    return {n.key: n for n in instance.needs if n.key in days_for}, impossible, missed


def allowed_until(rule: Any, last: date | None, instance: Any) -> tuple[date | None, date | None]:
    """The deadline of the next check, strictly and if the rule gives way (None: no deadline)."""
    since = max((d for d in (last, instance.last_check) if d is not None), default=date.min)
    counted = sorted(d for d in rule.days if d > since)
    strict = counted[rule.limit] if len(counted) > rule.limit else None
    free = [
        d
        for d in instance.days
        if instance.calendar.room(rule.service, d) != 0 and (last is None or d > last)
    ]
    if last is None and strict is not None and strict < instance.days[0]:
        first = free[0] if free else None  # broken before the horizon: as soon as can be
        return first, first
    if strict is None or not free:
        return strict, None
    return strict, max(strict, free[0])


def trial(instance: Any, needs: dict[str, TripNeed], chosen: tuple[date, ...]) -> tuple[Any, ...] | None:
    """What the trips on ``chosen`` days come to, or None where they break a rule that stands."""
    open_ = dict(needs)
    done = dict(instance.served)
    lost: list[TripNeed] = []
    eased: set[str] = set()
    serves: list[tuple[date, tuple[str, ...]]] = []
    off_target = crowding = 0
    last: date | None = None
    for day in (*chosen, None):
        for rule in instance.gaps:
            strict, loose = allowed_until(rule, last, instance)
            if strict is not None and (day is None or day > strict):
                if loose is not None and (day is None or day > loose):
                    return None
                eased.add(rule.key)
        if day is None:
            break
        while lapsed := [
            n
            for n in open_.values()
            if not any(a.need in open_ for a in n.after) and final_window(n, done)[2] < day
        ]:
            for need in lapsed:
                lost.append(open_.pop(need.key))
        here: dict[str, TripNeed] = {}
        while True:
            inside = [
                n
                for n in open_.values()
                if not any(a.need in open_ for a in n.after)
                and final_window(n, done)[0] <= day <= final_window(n, done)[2]
            ]
            rushed = {n.service for n in [*here.values(), *inside] if n.urgent}
            new = [n for n in inside if has_room(instance, n, day, n.service in rushed)]
            if not new:
                break
            for need in new:
                here[need.key] = open_.pop(need.key)
                done[need.key] = day
        for need in here.values():
            off_target += need.weight * abs((day - final_window(need, done)[1]).days)
        used = {n.service for n in here.values()}
        if not used:
            before = max((d for d in (last, instance.last_check) if d is not None), default=date.min)
            asked = {r.service for r in instance.gaps if any(d > before for d in r.days)}
            used = {s for s in asked if instance.calendar.room(s, day) != 0}
            if not used and not any(b.cannot_move and b.day == day for b in instance.booked):
                return None
        crowding += sum(instance.calendar.taken(day, service) for service in used)
        serves.append((day, tuple(sorted(here))))
        last = day
    lost += open_.values()
    given_up = len({b.day for b in instance.booked if b.day >= instance.days[0]} - set(chosen))
    harm = sum(2 if n.urgent else 1 for n in lost)
    aims = (len(lost) + len(eased), harm, len(chosen), given_up, off_target, crowding, chosen)
    return aims, serves, {n.key for n in lost} | eased


def every_choice(instance: Any) -> Iterator[tuple[date, ...]]:
    fixed = {b.day for b in instance.booked if b.cannot_move and instance.calendar.is_open(b.day)}
    others = [d for d in instance.days if d not in fixed and instance.calendar.is_open(d)]
    for size in range(len(others) + 1):
        for some in combinations(others, size):
            yield tuple(sorted({*fixed, *some}))


@pytest.mark.parametrize("maker", MAKERS)
@pytest.mark.parametrize("number", range(ROUNDS))
def test_the_plan_is_the_best_of_all_sets_of_days(make: Any, maker: str, number: int) -> None:
    for seed in range(number * PER_ROUND, (number + 1) * PER_ROUND):
        instance = make(maker, seed, 8, 6)
        plan = instance.plan()
        needs, alone, missed = sort_out(instance)
        trials = (trial(instance, needs, chosen) for chosen in every_choice(instance))
        aims, serves, gave_way = min(found for found in trials if found is not None)
        closed = {
            f"trip:{b.day}" for b in instance.booked if b.cannot_move and not instance.calendar.is_open(b.day)
        }
        assert [(trip.day, trip.serves) for trip in plan.trips] == serves, (maker, seed)
        assert {item.need for item in plan.impossible} == alone | gave_way | closed, (maker, seed)
        assert (plan.cost.trips, plan.cost.given_up, plan.cost.deviation, plan.cost.crowding) == aims[2:6]
        broken = {r.key for r in instance.gaps if too_late_already(r, instance)}
        assert set(plan.missed) == missed | broken, (maker, seed)


def too_late_already(rule: Any, instance: Any) -> bool:
    since = instance.last_check or date.min
    return sum(since < d < instance.days[0] for d in rule.days) > rule.limit
