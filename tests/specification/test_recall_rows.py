"""The ladder of each risk, climbed by somebody whom nobody can reach."""

from __future__ import annotations

from datetime import date

import pytest
from specification import cases_of

from followup.clinical.protocol.load import load_protocol
from followup.recall.reach.next_attempt import Tried, next_attempt

DAY0 = date(2024, 2, 1)


@pytest.mark.parametrize("case", cases_of("recall"))
def test_an_attempt_falls_due_on_the_day_of_its_row(case):
    ladder, tried = load_protocol().recall.ladder[case["tier"]], []
    while (due := next_attempt(ladder, tried, DAY0)) is not None:
        outcome = "surgeon told" if due.way == "surgeon" else "no answer"
        tried.append(Tried(due.on, due.rung, outcome))
    told = [f"{ladder.rungs[one.rung].way} {(one.day - DAY0).days}" for one in tried]
    assert ", ".join(told) == case["nobody"]
