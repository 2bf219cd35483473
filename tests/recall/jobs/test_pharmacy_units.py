"""The pharmacy's list says tablets with their dose and single doses by number; a bottle is one."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, cast

import pytest

from followup.clinical.careplan import Course, Step
from followup.clinical.day_plan import Bottle
from followup.clinical.protocol.load import load_protocol
from followup.recall.jobs.pharmacy import BottleToHandOut, hand_outs, pharmacy_lines
from followup.records.desk.attempts import set_standing
from followup.records.plans.plans import end_plan

FORMULARY = load_protocol().formulary
DAY = date(2026, 3, 3)


def hand_out(medicine: str, eye: Any, units: float | None, **step: Any) -> BottleToHandOut:
    course = Course(
        key="x",
        role=FORMULARY[medicine].role,
        medicine=medicine,
        eye=eye,
        steps=(Step(start=DAY, days=7, **step),),
    )
    bottle = Bottle(course="x", number=1, opened=DAY, discard=DAY, drops=0, units=units, handed_over=DAY)
    return BottleToHandOut(1, cast(Any, None), course, bottle)


def test_tablets_are_listed_by_number_and_with_mg_a_day_and_tablets_a_time():
    one = hand_out("prednisolone-5-tablet", None, 28, count=1, mg=20, tablets=4)
    assert one.amount == 28
    assert one.dose(FORMULARY) == "20 mg a day: 4 tablets of 5 mg once a day"


@pytest.mark.parametrize(
    ("opened", "dose"),
    [
        (0, "20 mg a day: 4 tablets of 5 mg once a day"),
        (6, "20 mg a day: 4 tablets of 5 mg once a day"),
        (7, "10 mg a day: 2 tablets of 5 mg once a day"),
        (13, "10 mg a day: 2 tablets of 5 mg once a day"),
        (14, ""),
    ],
)
def test_the_dose_is_that_of_the_step_in_which_the_tablets_are_begun(opened, dose):
    one = hand_out("prednisolone-5-tablet", None, 28, count=1, mg=20, tablets=4)
    second = Step(start=DAY + timedelta(days=7), days=7, count=1, mg=10, tablets=2)
    course = one.course.model_copy(update={"steps": (*one.course.steps, second)})
    bottle = one.bottle.model_copy(update={"opened": DAY + timedelta(days=opened)})
    assert BottleToHandOut(1, one.patient, course, bottle).dose(FORMULARY) == dose


def test_single_doses_are_listed_by_number_and_a_bottle_is_one():
    assert hand_out("dexamethasone-0-1-single", "right", 112, count=4).amount == 112
    assert hand_out("dexamethasone-0-1-single", "right", 112, count=4).dose(FORMULARY) == ""
    assert hand_out("dexamethasone-0-1", "right", None, count=4).amount == 1


def test_the_bottles_of_some_days_are_those_handed_over_on_them_to_whoever_is_followed(sqlite_ward):
    """Both days included, by day, name and course; none of a draft, an ended plan or one who died."""
    ward = sqlite_ward
    drops = Course(
        key="right:steroid", role="steroid", medicine="dexamethasone-0-1", eye="right",
        steps=(Step(start=ward.day(1), days=28, count=4),),
    )  # fmt: skip

    def body(code: str):
        supply = tuple(
            Bottle(course="right:steroid", number=number, opened=ward.day(day), discard=ward.day(day + 27),
                   drops=0, handed_over=ward.day(day))
            for number, day in ((1, 1), (2, 7), (3, 9))
        )  # fmt: skip
        return ward.body(code, courses=(drops,), supply=supply)

    plans = {code: ward.signed(code, body(code)) for code in ("K-2", "K-1", "DIED", "ENDED")}
    ward.draft(ward.enter(ward.record("DRAFT")), body("DRAFT"))
    with ward.store.write(ward.surgeon, ward.now) as unit:
        set_standing(unit, patient_id=plans["DIED"].patient_id, standing="died", reason="said so")
        end_plan(unit, plan_id=plans["ENDED"].id, completed=False, reason="moved")
    with ward.store.read() as session:
        for first, last, given in (
            (2, 6, []),
            (7, 7, [("K-1", 2), ("K-2", 2)]),
            (6, 7, [("K-1", 2), ("K-2", 2)]),
            (7, 8, [("K-1", 2), ("K-2", 2)]),
            (7, 9, [("K-1", 2), ("K-2", 2), ("K-1", 3), ("K-2", 3)]),
            (10, 99, []),
        ):
            found = hand_outs(session, ward.day(first), ward.day(last))
            assert [(one.patient.code, one.bottle.number) for one in found] == given, (first, last)
        (line, _) = pharmacy_lines(session, ward.day(9), FORMULARY)
        assert (line.code, line.number, line.opens, line.tablets) == ("K-1", 3, ward.day(9), "")
