"""A bottle keeps its own times: a new one stands in a plan only where a round itself is new."""

from __future__ import annotations

import pytest

NAMES = "wanjiru tom amina peter lakshmi ibrahim grace rafiq devika joao fatuma".split()  # noqa: SIM905


@pytest.mark.parametrize("name", NAMES)
def test_no_bottle_of_the_told_operations_changes_its_times_but_where_a_round_is_new(case, told, name):
    before, rounds = {}, None
    for phase in told(case(name)).plan.rounds:
        new_rounds = set() if rounds is None else set(phase.times) - rounds
        for dose in phase.doses:
            if dose.course in before:
                assert set(dose.times) - before[dose.course] <= new_rounds
            before[dose.course] = set(dose.times)
        rounds = set(phase.times)


def test_a_plan_made_again_keeps_the_times_that_stand_on_the_sheet_of_each_bottle(someone, told):
    """Of two equally even pairs the bottle keeps the one that the patient knows."""
    first = told(someone()).plan
    known = {"right:nsaid": frozenset({"11:00", "22:00"})}
    again = told(someone(), previous_times=frozenset(first.rounds[0].times), previous_own=known).plan

    def nsaid(plan):
        return next(d.times for d in plan.rounds[0].doses if d.course == "right:nsaid")

    assert nsaid(first) == ("06:00", "17:00")
    assert nsaid(again) == ("11:00", "22:00")
