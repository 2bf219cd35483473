"""The rounds against every timetable there is, on days short enough to try them all."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import combinations, product

import pytest

from followup.errors import FollowupError
from followup.timing.rounds import plan_rounds


def gap_sum(times):
    return sum(((b - a) % 24 or 24) ** 2 for a, b in zip(times, times[1:] + times[:1], strict=True))


def all_rounds(slots):
    return [rounds for size in range(slots + 1) for rounds in combinations(range(slots), size)]


def by_trying_all(table, choices):
    """The best rounds of every phase by the words of the three aims, or None."""
    bottles = {bottle.key: bottle for bottle in table.bottles}
    options = []
    for phase in table.phases:
        own = [choices(bottles[key], count, table.slots) for key, count in phase.counts.items()]
        costed = []
        for rounds in all_rounds(table.slots):
            within = [[gap_sum(t) for t in times if set(t) <= set(rounds)] for times in own]
            if all(within):
                costed.append((frozenset(rounds), sum(min(sums) for sums in within)))
        options.append(costed)
    return min((rank(table, chosen) for chosen in product(*options)), default=None)


def rank(table, chosen):
    """What is minimised, in order; the rounds themselves come last, as masks."""
    rounds_days = cost = without_rising = 0
    before = table.previous
    for phase, (rounds, gaps) in zip(table.phases, chosen, strict=True):
        rounds_days += phase.days * len(rounds)
        cost += phase.days * gaps + (0 if before is None else table.price * len(rounds - before))
        without_rising += 0 if 0 in rounds else phase.days
        before = rounds
    return rounds_days, cost, without_rising, [sum(2**slot for slot in rounds) for rounds, _ in chosen]


def own_times_by_trying_all(bottle, table, rounds, choices, price):
    """One bottle's times in every phase that gives it, by the words of the rule; and what they cost."""
    given = [number for number, phase in enumerate(table.phases) if bottle.key in phase.counts]
    options = [
        [
            times
            for times in choices(bottle, table.phases[n].counts[bottle.key], table.slots)
            if set(times) <= set(rounds[n])
        ]
        for n in given
    ]
    days = [table.phases[n].days for n in given]

    def order(chosen):
        cost = late = 0
        before = bottle.previous
        for n, times in zip(days, chosen, strict=True):
            cost += n * gap_sum(times) + (0 if before is None else price * len(set(times) - before))
            late += 0 if 0 in times else n
            before = set(times)
        return cost, late, [sum(2**slot for slot in times) for times in chosen]

    best = min(product(*options), key=order)
    return dict(zip(given, best, strict=True)), order(best)[0]


SIZES = [(9, 1), (6, 2), (5, 2), (4, 3), (3, 4)]


@pytest.mark.parametrize("seed", range(24))
@pytest.mark.parametrize(("slots", "most_phases"), SIZES)
def test_the_rounds_are_the_best_of_all_timetables(invent, choices, slots, most_phases, seed):
    table = invent(random.Random(f"brute {slots} {most_phases} {seed}"), slots, most_phases)
    best = by_trying_all(table, choices)
    if best is None:
        with pytest.raises(FollowupError) as refused:
            plan_rounds(table.slots, table.phases, table.bottles, previous=table.previous, price=table.price)
        assert refused.value.code == "rounds.impossible"
        return
    plan = plan_rounds(table.slots, table.phases, table.bottles, previous=table.previous, price=table.price)
    assert (plan.rounds_days, plan.cost) == best[:2]
    assert [sum(2**slot for slot in phase.times) for phase in plan.phases] == best[3]
    check_own_times(table, plan, choices)


def check_own_times(table, plan, choices):
    total = 0
    for bottle in table.bottles:
        best, cost = own_times_by_trying_all(
            bottle, table, [phase.times for phase in plan.phases], choices, table.price
        )
        found = {
            number: rounds.bottle_times[bottle.key]
            for number, rounds in enumerate(plan.phases)
            if bottle.key in rounds.bottle_times
        }
        assert found == best
        total += cost
    assert plan.own_cost == total


@pytest.mark.parametrize("seed", range(40))
def test_own_times_are_the_best_also_against_those_of_the_sheet_in_force(invent, choices, seed):
    rng = random.Random(f"own {seed}")
    table = invent(rng, 6, 3)
    bottles = tuple(
        replace(bottle, previous=rng.choice([None, frozenset(rng.sample(range(6), rng.randint(0, 4)))]))
        for bottle in table.bottles
    )
    table = replace(table, bottles=bottles, price=rng.choice([0, 3, 100, 10**9]))
    if by_trying_all(table, choices) is None:
        return
    plan = plan_rounds(table.slots, table.phases, bottles, previous=table.previous, price=table.price)
    check_own_times(table, plan, choices)


def test_both_generators_bring_possible_and_impossible_timetables(invent, choices):
    """Else the comparison above, and the one with a solver, would prove little."""
    tables = [invent(random.Random(f"brute 4 3 {seed}"), 4, 3) for seed in range(24)]
    possible = sum(by_trying_all(table, choices) is not None for table in tables)
    assert 8 <= possible <= 23
