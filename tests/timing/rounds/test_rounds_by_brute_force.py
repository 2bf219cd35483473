"""The rounds against every timetable there is, on days short enough to try them all."""

from __future__ import annotations

import random
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


def own_times_by_trying_all(bottle, count, rounds, slots, choices):
    within = [times for times in choices(bottle, count, slots) if set(times) <= set(rounds)]
    return min(within, key=lambda t: (gap_sum(t), 0 not in t, sum(2**slot for slot in t)))


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
    bottles = {bottle.key: bottle for bottle in table.bottles}
    for phase, rounds in zip(table.phases, plan.phases, strict=True):
        assert rounds.bottle_times == {
            key: own_times_by_trying_all(bottles[key], count, rounds.times, slots, choices)
            for key, count in phase.counts.items()
        }


def test_both_generators_bring_possible_and_impossible_timetables(invent, choices):
    """Else the comparison above, and the one with a solver, would prove little."""
    tables = [invent(random.Random(f"brute 4 3 {seed}"), 4, 3) for seed in range(24)]
    possible = sum(by_trying_all(table, choices) is not None for table in tables)
    assert 8 <= possible <= 23
