"""The pharmacy's list says tablets with their dose and single doses by number; a bottle is one."""

from __future__ import annotations

from datetime import date
from typing import Any, cast

from followup.clinical.careplan import Bottle, Course, Step
from followup.clinical.formulary import load_formulary
from followup.clinical.protocol import SAMPLE
from followup.recall.pharmacy import HandOut

FORMULARY = load_formulary(SAMPLE / "formulary.toml")
DAY = date(2026, 3, 3)


def hand_out(medicine: str, eye: Any, units: float | None, **step: Any) -> HandOut:
    course = Course(
        key="x",
        role=FORMULARY[medicine].role,
        medicine=medicine,
        eye=eye,
        steps=(Step(start=DAY, days=7, **step),),
    )
    bottle = Bottle(course="x", number=1, opened=DAY, discard=DAY, drops=0, units=units, handed_over=DAY)
    return HandOut(cast(Any, None), course, bottle)


def test_tablets_are_listed_by_number_and_with_mg_a_day_and_tablets_a_time():
    one = hand_out("prednisolone-5-tablet", None, 28, count=1, mg=20, tablets=4)
    assert one.amount == 28
    assert one.dose(FORMULARY) == "20 mg a day: 4 tablets of 5 mg once a day"


def test_single_doses_are_listed_by_number_and_a_bottle_is_one():
    assert hand_out("dexamethasone-0-1-single", "right", 112, count=4).amount == 112
    assert hand_out("dexamethasone-0-1-single", "right", 112, count=4).dose(FORMULARY) == ""
    assert hand_out("dexamethasone-0-1", "right", None, count=4).amount == 1
