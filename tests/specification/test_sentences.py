"""How long a sentence for the patient holds, a row of the specification at a time."""

from __future__ import annotations

from datetime import timedelta

import pytest
from made import DAY0, TOLD, plan_of, record_of
from specification import cases_of

from followup.clinical.protocol.load import load_protocol

SAMPLE = load_protocol()
LONGEST = 100
"""Days after surgery over which a sentence is looked for."""


def days_of(case) -> list[int]:
    """The days, from that of the plan on, on which the sentence holds."""
    plan, record = plan_of(case, SAMPLE, case.get("day", 0)).plan, record_of(case)
    return [
        number
        for number in range(case.get("day", 0), LONGEST)
        if any(
            held.advice.id == case["sentence"] and "right" in held.eyes
            for held in SAMPLE.aftercare.holding(
                plan, record, SAMPLE.formulary, DAY0 + timedelta(days=number)
            )
        )
    ]


@pytest.mark.parametrize("case", cases_of("handling"))
def test_a_sentence_holds_on_the_days_of_its_row(case):
    extra = set(case) - TOLD - {"day", "sentence", "last", "holds", "never"}
    assert not extra, f"a case can't tell {sorted(extra)}"
    days = days_of(case)
    if "last" in case:
        assert days == list(range(case.get("day", 0), case["last"] + 1))
    elif "holds" in case:
        assert [day for day in case["holds"] if day in days] == case["holds"]
    else:
        assert case["never"] is True
        assert days == []
