"""Worked timetables, read hour by hour. The sums were proved by an independent solver."""

from __future__ import annotations

from itertools import pairwise

import pytest

from followup.timing.rounds import Phase, RoundBottle, WakingHours, plan_rounds

# Arithmetic only, no course that anybody would prescribe: (days, counts a day of four bottles).
FOUR_BOTTLES = [
    (3, (16, 4, 3, 3)),
    (4, (8, 4, 3, 3)),
    (7, (6, 4, 3, 2)),
    (7, (5, 3, 2)),
    (7, (4, 3)),
    (14, (3, 3)),
    (14, (2,)),
    (14, (1,)),
]
ROUTINE = [
    Phase(7, {"steroid": 4, "antibiotic": 4, "nsaid": 2}),
    Phase(7, {"steroid": 3, "nsaid": 2}),
    Phase(7, {"steroid": 2}),
    Phase(7, {"steroid": 1}),
]
ROUTINE_BOTTLES = [RoundBottle("steroid"), RoundBottle("antibiotic"), RoundBottle("nsaid")]


def plan_four_bottles(price):
    names = "abcd"
    phases = [Phase(days, dict(zip(names, counts, strict=False))) for days, counts in FOUR_BOTTLES]
    return plan_rounds(17, phases, [RoundBottle(name) for name in names], price=price)


def clocks(plan, waking):
    return [" ".join(waking.clock(slot)[:2] for slot in phase.times) for phase in plan.phases]


def new_times(plan):
    rounds = [set(phase.times) for phase in plan.phases]
    return sum(len(now - before) for before, now in pairwise(rounds))


def test_four_bottles_cost_33956_with_one_new_time():
    plan = plan_four_bottles(price=100)
    assert plan.cost == 33956
    assert plan.rounds_days == sum(days * max(counts) for days, counts in FOUR_BOTTLES)
    assert new_times(plan) == 1
    assert clocks(plan, WakingHours.of("06:00", "22:00"))[-3:] == ["06 14 22", "06 18", "06"]


@pytest.mark.parametrize("price", [10**6, 10**15, 10**40])
def test_four_bottles_cost_34180_where_a_new_time_is_out_of_the_question(price):
    plan = plan_four_bottles(price)
    assert (plan.cost, new_times(plan)) == (34180, 0)


def test_a_routine_course_is_read_off_the_clock():
    plan = plan_rounds(17, ROUTINE, ROUTINE_BOTTLES)
    assert plan.cost == 13692
    assert clocks(plan, WakingHours.of("06:00", "22:00")) == ["06 11 17 22", "06 17 22", "06 17", "06"]
    assert plan.phases[0].bottle_times == {
        "steroid": (0, 5, 11, 16),
        "antibiotic": (0, 5, 11, 16),
        "nsaid": (0, 11),
    }


def test_a_shift_worker_who_rises_at_four_in_the_afternoon_needs_no_new_time():
    waking = WakingHours.of("16:00", "09:00")
    plan = plan_rounds(waking.slots, ROUTINE, ROUTINE_BOTTLES)
    assert (plan.cost, new_times(plan)) == (13594, 0)
    assert clocks(plan, waking) == ["16 21 03 09", "16 03 09", "16 03", "16"]


def test_a_sheet_in_force_is_kept_while_it_costs_less_than_new_times():
    kept = plan_rounds(17, [Phase(1, {"a": 2})], [RoundBottle("a")], previous=frozenset({1, 13}))
    assert kept.phases[0].times == (1, 13)
    assert kept.cost == 12**2 + 12**2
    longer = plan_rounds(17, [Phase(30, {"a": 2})], [RoundBottle("a")], previous=frozenset({1, 8}), price=100)
    assert longer.phases[0].times == (1, 13)
    assert longer.cost == 30 * 288 + 100


def test_equal_gaps_go_to_the_round_at_rising():
    plan = plan_rounds(17, [Phase(7, {"a": 2})], [RoundBottle("a")])
    assert plan.phases[0].times == (0, 12)
