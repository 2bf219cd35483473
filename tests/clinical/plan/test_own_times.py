"""A bottle keeps its own times: a new one stands in a plan only where a round itself is new."""

from __future__ import annotations

import pytest

from followup.clinical.protocol.load import load_protocol

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


@pytest.mark.parametrize(("price", "kept"), [("100", ("06:00", "17:00")), ("1000", ("06:00", "22:00"))])
def test_a_plan_made_again_keeps_the_times_of_each_bottle_unless_a_new_one_earns_its_price(
    folder, someone, told, price, kept
):
    """17:00 instead of 22:00 makes the gaps of a fortnight more even by 420 hours squared."""
    path = folder / "protocol.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("price = 100\n", f"price = {price}\n", 1), encoding="utf-8")
    known = {"right:nsaid": frozenset({"06:00", "22:00"})}
    sheet = frozenset(told(someone()).plan.rounds[0].times)
    plan = told(someone(), protocol=load_protocol(folder), previous_times=sheet, previous_own=known).plan
    assert next(d.times for d in plan.rounds[0].doses if d.course == "right:nsaid") == kept
