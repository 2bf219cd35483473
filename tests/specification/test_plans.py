"""What an operation leads to, a row of the specification at a time."""

from __future__ import annotations

import pytest
from made import TOLD, plan_of
from specification import cases_of

from followup.clinical.protocol.load import load_protocol

SAMPLE = load_protocol()


@pytest.mark.parametrize("case", cases_of("courses", "needs", "risk"))
def test_an_operation_leads_to_what_its_row_expects(case):
    extra = set(case) - TOLD - {"day", "expect"}
    assert not extra, f"a case can't tell {sorted(extra)}"
    assert case["expect"]
    wrong = list(plan_of(case, SAMPLE, case.get("day", 0)).differs(case["expect"]))
    assert not wrong, "\n".join(wrong)
