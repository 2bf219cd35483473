"""What must hold for every plan of trips, whatever the needs, the calendar and the bookings."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import pairwise
from random import Random
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from followup.timing.calendar import Calendar
from followup.timing.trips import Since, TripsPlan

seeds = st.tuples(st.sampled_from(["scattered", "follow_up"]), st.integers(0, 10**9))
EVERY = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def made(make: Any, seed: tuple[str, int], length: int = 24, most: int = 9) -> Any:
    return make(*seed, length, most)


def served_on(plan: TripsPlan) -> dict[str, date]:
    return {key: trip.day for trip in plan.trips for key in trip.serves}


def checks_between(instance: Any, plan: TripsPlan) -> list[tuple[date, date]]:
    first = [instance.last_check] if instance.last_check else [date.min]
    checks = [*first, *(trip.day for trip in plan.trips), date.max]
    return list(pairwise(checks))


@EVERY
@given(seed=seeds)
def test_every_need_is_served_once_inside_its_window_or_named(make: Any, seed: tuple[str, int]) -> None:
    instance = made(make, seed)
    plan = instance.plan()
    named = [item.need for item in plan.impossible if not item.need.startswith(("gap", "trip:"))]
    named = [key for key in named if not key.endswith(":gap")]
    missed = [key for key in plan.missed if key in {n.key for n in instance.needs}]
    served = [key for trip in plan.trips for key in trip.serves]
    assert sorted([*named, *missed, *served, *instance.served]) == sorted(n.key for n in instance.needs)
    for key, day in served_on(plan).items():
        earliest, target, latest = plan.windows[key]
        assert earliest <= day <= latest
        assert earliest <= target <= latest


@EVERY
@given(seed=seeds)
def test_windows_hang_on_the_days_on_which_needs_are_served(make: Any, seed: tuple[str, int]) -> None:
    instance = made(make, seed)
    plan = instance.plan()
    days = {**served_on(plan), **instance.served}
    for need in instance.needs:
        moved = [(a, days[a.need]) for a in need.after if a.need in days]
        earliest = max(need.earliest.toordinal(), *(d.toordinal() + a.earliest for a, d in moved), 0)
        assert plan.windows[need.key][0].toordinal() == earliest
        if need.key in served_on(plan):
            assert all(days[need.key] >= base for _, base in moved)


@EVERY
@given(seed=seeds)
def test_no_two_checks_lie_further_apart_than_allowed_unless_named(make: Any, seed: tuple[str, int]) -> None:
    instance = made(make, seed)
    plan = instance.plan()
    named = {item.need for item in plan.impossible} | set(plan.missed)
    for rule in instance.gaps:
        if rule.key not in named:
            for before, after in checks_between(instance, plan):
                assert sum(before < day < after for day in rule.days) <= rule.limit


@EVERY
@given(seed=seeds)
def test_trips_use_open_days_offered_services_and_places_that_are_left(
    make: Any, seed: tuple[str, int]
) -> None:
    instance = made(make, seed)
    urgent = {n.key: n.service for n in instance.needs if n.urgent}
    for trip in instance.plan().trips:
        assert trip.day >= instance.days[0]
        assert instance.calendar.is_open(trip.day)
        over = set(trip.overbooked)
        assert over <= {urgent[key] for key in trip.serves if key in urgent}
        for service in trip.services:
            assert instance.calendar.offers(service, trip.day)
            assert (instance.calendar.room(service, trip.day) == 0) == (service in over)


@EVERY
@given(seed=seeds, shuffle=st.randoms(use_true_random=False))
def test_the_order_of_the_input_does_not_matter(make: Any, seed: tuple[str, int], shuffle: Random) -> None:
    instance = made(make, seed)
    plan = instance.plan()
    for items in (instance.needs, instance.gaps, instance.booked):
        shuffle.shuffle(items)
    assert instance.plan() == plan


@EVERY
@given(seed=seeds, number=st.integers(0, 23))
def test_a_holiday_more_never_means_a_trip_less(make: Any, seed: tuple[str, int], number: int) -> None:
    instance = made(make, seed)
    plan = instance.plan()
    closed = instance.days[number]
    if any(b.cannot_move and b.day == closed for b in instance.booked):
        return
    instance.calendar = closing(instance.calendar, closed)
    fewer_days = instance.plan()
    if not fewer_days.impossible and not fewer_days.missed:
        assert not plan.impossible
        assert fewer_days.cost.trips >= plan.cost.trips


def closing(calendar: Calendar, day: date) -> Calendar:
    services = [s.model_copy(update={"dates": without(s.dates, day)}) for s in calendar.services]
    extra = [d for d in calendar.extra_days if d != day]
    return Calendar.model_validate({**dict(calendar), "extra_days": extra, "services": services})


def without(dates: tuple[date, ...] | None, day: date) -> tuple[date, ...] | None:
    return None if dates is None else tuple(d for d in dates if d != day)


@EVERY
@given(seed=seeds)
def test_the_cost_is_what_the_trips_say(make: Any, seed: tuple[str, int]) -> None:
    instance = made(make, seed)
    plan = instance.plan()
    needs = {n.key: n for n in instance.needs}
    days = {trip.day for trip in plan.trips}
    assert plan.cost.trips == len(plan.trips) == len(days)
    coming = {b.day for b in instance.booked if b.day >= instance.days[0]}
    assert set(plan.given_up) == coming - days
    assert plan.cost.given_up == len(plan.given_up)
    assert plan.cost.deviation == sum(
        needs[key].weight * abs((day - plan.windows[key][1]).days) for key, day in served_on(plan).items()
    )
    assert plan.cost.crowding == sum(
        instance.calendar.taken(trip.day, service) for trip in plan.trips for service in trip.services
    )


@EVERY
@given(seed=seeds)
def test_a_trip_lies_within_the_days_it_may_be_moved_to(make: Any, seed: tuple[str, int]) -> None:
    plan = made(make, seed).plan()
    for trip in plan.trips:
        assert trip.window_start <= trip.day <= trip.window_end
        for key in trip.serves:
            earliest, _, latest = plan.windows[key]
            assert earliest <= trip.window_start
            assert trip.window_end <= latest


@EVERY
@given(seed=seeds)
def test_a_trip_moved_alone_within_its_window_keeps_the_limits_between_checks(
    make: Any, seed: tuple[str, int]
) -> None:
    instance = made(make, seed)
    plan = instance.plan()
    if plan.impossible or plan.missed:
        return
    checks = checks_between(instance, plan)
    for number, trip in enumerate(plan.trips):
        before, after = checks[number][0], checks[number + 1][1]
        for day in (trip.window_start, trip.window_end):
            for rule in instance.gaps:
                assert sum(before < d < day for d in rule.days) <= rule.limit
                assert sum(day < d < after for d in rule.days) <= rule.limit


@EVERY
@given(seed=seeds, shift=st.integers(-400, 400))
def test_the_plan_depends_on_the_distance_of_days_alone(make: Any, seed: tuple[str, int], shift: int) -> None:
    """Under an always open calendar a plan moves with its dates, over leap days and year ends."""
    instance = made(make, seed)
    instance.calendar, instance.booked = Calendar(), []
    plan = instance.plan()

    def move(day: date) -> date:
        return date.fromordinal(day.toordinal() + shift)

    instance.needs = [
        replace(n, earliest=move(n.earliest), target=move(n.target), latest=move(n.latest))
        for n in instance.needs
    ]
    instance.gaps = [replace(g, days=frozenset(map(move, g.days))) for g in instance.gaps]
    instance.days = [move(day) for day in instance.days]
    instance.served = {key: move(day) for key, day in instance.served.items()}
    instance.last_check = instance.last_check and move(instance.last_check)
    moved = instance.plan()
    assert moved.cost == plan.cost
    assert [(trip.day, trip.serves) for trip in moved.trips] == [
        (move(trip.day), trip.serves) for trip in plan.trips
    ]


@EVERY
@given(seed=seeds, wait=st.integers(1, 9))
def test_what_hangs_on_a_need_is_never_served_sooner_than_the_days_between(
    make: Any, seed: tuple[str, int], wait: int
) -> None:
    instance = made(make, seed, most=6)
    if not instance.needs:
        return
    base = instance.needs[0]
    instance.needs.append(replace(base, key="added", after=(Since(base.key, wait, wait, wait),)))
    plan = instance.plan()
    days = {**served_on(plan), **instance.served}
    if "added" in days and base.key in days:
        assert (days["added"] - days[base.key]).days >= wait
