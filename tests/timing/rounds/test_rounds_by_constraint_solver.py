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

MOST = 2**50  # a solver says what it found as a float, which is exact up to here


def gap_sum(times):
    return sum(((b - a) % 24 or 24) ** 2 for a, b in zip(times, times[1:] + times[:1], strict=True))


def in_bits(times):
    return sum(2**slot for slot in times)


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
        self.days = sum(phase.days for phase in table.phases)
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

    def least(self, aim, claimed=None):
        """Minimise one aim, then hold it at its least; None where nothing is possible.

        ``claimed``: what it should be. Something must reach it, and nothing lie below: that is sooner proved
        than the least of all is found.
        """
        if claimed is not None:
            self.model.add(aim <= claimed)
        solver = self.solved(aim)
        if solver is None:
            return None
        value = round(solver.objective_value)
        self.model.add(aim <= value)
        return value

    def solved(self, aim):
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.linearization_level = 2
        solver.parameters.cp_model_probing_level = 0  # a third of the time, and nothing else
        solver.parameters.max_time_in_seconds = 60  # then the proof is missing and the check below fails
        self.model.minimize(aim)
        status = solver.solve(self.model)
        if status == cp_model.INFEASIBLE:
            return None
        assert status == cp_model.OPTIMAL
        return solver

    def least_in_turn(self, aims):
        """Minimise one aim after the other, each held at its least; each comes with the most it can be.

        As many as keep apart in one number are minimised together: a solution costs more than its size.
        """
        while aims:
            together, size, taken = 0, 1, 0
            for aim, most in aims:
                if taken and size * (most + 1) > MOST:
                    break
                together, size, taken = together * (most + 1) + aim, size * (most + 1), taken + 1
            solver = self.solved(together)
            for aim, _ in aims[:taken]:
                self.model.add(aim == solver.value(aim))
            aims = aims[taken:]
        return solver


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
    assert plan.cost == solver.least(solver.cost, plan.cost)
    most = 2**table.slots - 1
    least = solver.least_in_turn(
        [(solver.without_rising, solver.days), *((mask, most) for mask in solver.masks)]
    )
    assert [in_bits(phase.times) for phase in plan.phases] == [least.value(mask) for mask in solver.masks]
    assert plan.own_cost == OwnTimes(table, plan.phases, choices).check(plan.phases)


class OwnTimes(ByChoice):
    """Each bottle's own times within the rounds that were found, as one constraint model.

    No bottle heeds another: the least of all together is the least of each.
    """

    def __init__(self, table, phases, possible):
        self.table, self.possible, self.model = table, possible, cp_model.CpModel()
        self.cost, self.late, self.masks = 0, 0, [{} for _ in phases]
        for bottle in table.bottles:
            self.of(bottle, phases)

    def of(self, bottle, phases):
        table, before = self.table, bottle.previous
        before = None if before is None else [slot in before for slot in range(table.slots)]
        for phase, rounds, masks in zip(table.phases, phases, self.masks, strict=True):
            if bottle.key not in phase.counts:
                continue
            picked, at = [], [[] for _ in range(table.slots)]
            for times in self.possible(bottle, phase.counts[bottle.key], table.slots):
                if not set(times) <= set(rounds.times):
                    continue
                var = self.model.new_bool_var("")
                picked.append(var)
                self.cost += phase.days * gap_sum(times) * var
                for slot in times:
                    at[slot].append(var)
            self.model.add_exactly_one(picked)
            used = [sum(vars_) for vars_ in at]
            if before is not None:
                self.cost += table.price * sum(
                    self.newly(now, was) for now, was in zip(used, before, strict=True)
                )
            self.late += phase.days * (1 - used[0])
            masks[bottle.key] = sum(2**slot * var for slot, var in enumerate(used))
            before = used

    def check(self, phases):
        """Compare every time; the cost that the solver proves least."""
        if not any(self.masks):
            return 0
        cost = self.least(self.cost)
        bottles, days = len(self.table.bottles), sum(phase.days for phase in self.table.phases)
        by_phase = [sum(masks.values()) for masks in self.masks]
        most = bottles * (2**self.table.slots - 1)
        least = self.least_in_turn([(self.late, bottles * days), *((masks, most) for masks in by_phase)])
        for rounds, masks in zip(phases, self.masks, strict=True):
            found = {key: in_bits(times) for key, times in rounds.bottle_times.items()}
            assert found == {key: least.value(mask) for key, mask in masks.items()}
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
    assert (solver.least(solver.rounds_days), solver.least(solver.cost, cost)) == (70, cost)
    assert (plan.rounds_days, plan.cost) == (70, cost)
