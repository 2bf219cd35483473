"""What a visit's row says that the patient gets: a bottle, single doses of drops, or tablets."""

from __future__ import annotations

import pytest

from followup.clinical.protocol.load import load_protocol
from followup.sheets.content import build_content


@pytest.mark.parametrize(
    ("medicine", "units", "words"),
    [
        ("dexamethasone-0-1", None, "new bottle:"),
        ("dexamethasone-0-1-single", 30, "more single doses:"),
        ("prednisolone-5-tablet", 30, "more tablets:"),
    ],
)
def test_drops_are_never_called_tablets_in_a_visits_row(
    make_plan, make_record, clinic, medicine, units, words
):
    plan = make_plan(approved=True)
    course = plan.courses[0].model_copy(update={"medicine": medicine})
    given = plan.supply[0].model_copy(
        update={"course": course.key, "units": units, "handed_over_trip": plan.trips[0].number}
    )
    plan = plan.model_copy(update={"courses": (course,), "rounds": (), "supply": (given,)})
    sheet = build_content(plan, make_record(), load_protocol().formulary, clinic, printed_on=plan.as_of)
    handed = [supply for row in sheet.table.rows if row.kind == "visit" for supply in row.handed]
    assert [(supply.words, len(supply.bottles)) for supply in handed] == [(words, 1)]
