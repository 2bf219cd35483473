"""The rounds against an independent solver (OR-Tools CP-SAT), one aim after the other.

The solver picks one of the possible sets of times for each bottle of each phase; it shares
nothing with the dynamic programme but the words of the rule.
"""

from __future__ import annotations

import random
from types import SimpleNamespace

import pytest
from ortools.sat.python import cp_model

from followup.errors import FollowupError
from followup.timing.rounds import Phase, RoundBottle, plan_rounds


def gap_sum(times):
    return sum(((b - a) % 24 or 24) ** 2 for a, b in zip(times, times[1:] + times[:1], strict=True))


class ByChoice:
    """The timetable as a constraint model with the sums of the aims."""

    def __init__(self, table, possible):
        self.table, self.possible, self.model = table, possible, cp_model.CpModel()
        self.rounds, self.gaps, new = [], [], []
        bottles = {bottle.key: bottle for bottle in table.bottles}
        before = None if table.previous is None else [slot in table.previous for slot in range(table.slots)]
        for phase in table.phases:
            at = [self.model.new_bool_var("") for _ in range(table.slots)]
            for key, count in phase.counts.items():
                self.gaps.append(phase.days * self.choice(bottles[key], count, at))
            if before is not None:
                new += [self.newly(now, was) for now, was in zip(at, before, strict=True)]
            self.rounds.append(at)
            before = at
        phases = list(zip(table.phases, self.rounds, strict=True))
        self.rounds_days = sum(phase.days * sum(at) for phase, at in phases)
        self.cost = sum(self.gaps) + table.price * sum(new)
        self.without_rising = sum(phase.days * (1 - at[0]) for phase, at in phases)
        self.masks = [sum(2**slot * var for slot, var in enumerate(at)) for at in self.rounds]

    def choice(self, bottle, count, rounds):
        """Exactly one possible set of times, each of which is a round; its gap sum."""
        sums, at = [], [[] for _ in rounds]
        for times in self.possible(bottle, count, len(rounds)):
            picked = self.model.new_bool_var("")
            sums.append((picked, gap_sum(times)))
            for slot in times:
                at[slot].append(picked)
        self.model.add_exactly_one(picked for picked, _ in sums)
        for slot, pickers in enumerate(at):
            self.model.add(sum(pickers) <= rounds[slot])
        self.model.add(sum(rounds) >= count)  # follows from the rest; the proof is quicker with it
        return sum(gaps * picked for picked, gaps in sums)

    def newly(self, now, was):
        new = self.model.new_bool_var("")
        self.model.add(new >= now - was)
        return new

    def least(self, aim):
        """Minimise one aim, then hold it at its least; None where nothing is possible."""
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.linearization_level = 2
        solver.parameters.max_time_in_seconds = 60  # then the proof is missing and the check below fails
        self.model.minimize(aim)
        status = solver.solve(self.model)
        if status == cp_model.INFEASIBLE:
            return None
        assert status == cp_model.OPTIMAL
        value = round(solver.objective_value)
        self.model.add(aim <= value)
        return value


def check_against_solver(table, choices):
    """Compare every aim and every set of rounds."""
    solver = ByChoice(table, choices)
    rounds_days = solver.least(solver.rounds_days)
    if rounds_days is None:
        with pytest.raises(FollowupError) as refused:
            plan_rounds(table.slots, table.phases, table.bottles, previous=table.previous, price=table.price)
        assert refused.value.code == "rounds.impossible"
        return
    plan = plan_rounds(table.slots, table.phases, table.bottles, previous=table.previous, price=table.price)
    assert plan.rounds_days == rounds_days
    assert plan.cost == solver.least(solver.cost)
    solver.least(solver.without_rising)
    masks = [solver.least(mask) for mask in solver.masks]
    assert [sum(2**slot for slot in phase.times) for phase in plan.phases] == masks
    assert plan.own_cost == sum(
        OwnTimes(table, bottle, plan.phases, choices).check(plan.phases) for bottle in table.bottles
    )


class OwnTimes:
    """One bottle's own times within the rounds that were found, as a constraint model."""

    def __init__(self, table, bottle, phases, possible):
        self.key, self.model = bottle.key, cp_model.CpModel()
        cost, late, self.masks = [], [], []
        before = bottle.previous
        before = None if before is None else [slot in before for slot in range(table.slots)]
        for phase, rounds in zip(table.phases, phases, strict=True):
            if bottle.key not in phase.counts:
                continue
            picked, at = [], [[] for _ in range(table.slots)]
            for times in possible(bottle, phase.counts[bottle.key], table.slots):
                if not set(times) <= set(rounds.times):
                    continue
                var = self.model.new_bool_var("")
                picked.append(var)
                cost.append(phase.days * gap_sum(times) * var)
                for slot in times:
                    at[slot].append(var)
            self.model.add_exactly_one(picked)
            used = [sum(vars_) for vars_ in at]
            if before is not None:
                for now, was in zip(used, before, strict=True):
                    new = self.model.new_bool_var("")
                    self.model.add(new >= now - was)
                    cost.append(table.price * new)
            late.append(phase.days * (1 - used[0]))
            self.masks.append(sum(2**slot * var for slot, var in enumerate(used)))
            before = used
        self.cost, self.late = sum(cost), sum(late)

    least = ByChoice.least

    def check(self, phases):
        """Compare every time; the cost that the solver proves least."""
        if not self.masks:
            return 0
        cost = self.least(self.cost)
        self.least(self.late)
        masks = [self.least(mask) for mask in self.masks]
        found = [rounds.bottle_times[self.key] for rounds in phases if self.key in rounds.bottle_times]
        assert [sum(2**slot for slot in times) for times in found] == masks
        return cost


@pytest.mark.parametrize("seed", range(26))
@pytest.mark.parametrize("slots", [6, 8, 10])
def test_the_rounds_equal_those_of_an_independent_solver(invent, choices, slots, seed):
    check_against_solver(invent(random.Random(f"solver {slots} {seed}"), slots, 4), choices)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("slots", [13, 17, 19])
def test_the_rounds_of_whole_waking_days_equal_those_of_an_independent_solver(aimed, choices, slots, seed):
    check_against_solver(aimed(random.Random(f"waking day {slots} {seed}"), slots, 3), choices)


@pytest.mark.parametrize(("slots", "cost"), [(17, 13692), (18, 13594)])
def test_a_routine_course_over_a_whole_day_costs_what_the_independent_solver_proves(choices, slots, cost):
    phases = [
        Phase(7, {"s": 4, "a": 4, "n": 2}),
        Phase(7, {"s": 3, "n": 2}),
        Phase(7, {"s": 2}),
        Phase(7, {"s": 1}),
    ]
    bottles = [RoundBottle(key) for key in "san"]
    plan = plan_rounds(slots, phases, bottles)
    solver = ByChoice(
        SimpleNamespace(slots=slots, phases=phases, bottles=bottles, previous=None, price=100), choices
    )
    assert (solver.least(solver.rounds_days), solver.least(solver.cost)) == (70, cost)
    assert (plan.rounds_days, plan.cost) == (70, cost)
