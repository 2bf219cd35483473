"""That somebody opened a patient: by what it is known whom, once a day, and forgotten after three."""

from __future__ import annotations

import pytest
from sqlmodel import select

from followup.records.people.opening import is_noted, journal_of_patient, note_opening, patient_named
from followup.records.plans.sheets import issue_sheet
from followup.records.tables import OpeningRow


@pytest.fixture
def printed(ward):
    """K-1 with a plan in force and a sheet, and K-2."""
    ward.signed("K-2")
    plan = ward.signed("K-1")
    with ward.store.write(ward.counsellor, ward.now) as unit:
        issue_sheet(unit, plan_id=plan.id, sheet_id="0123456789", language="en")
    return ward, plan


def test_a_patient_is_known_by_code_plan_sheet_and_visit_and_by_nothing_else(printed):
    ward, plan = printed
    named = {
        **{("code", code): plan.patient_id for code in ("K-1", "k-1")},
        ("plan", str(plan.id)): plan.patient_id,
        ("sheet", "0123456789"): plan.patient_id,
        ("trip", str(ward.trips(plan)[0].id)): plan.patient_id,
        **{("code", code): None for code in ("K-9", "", "1")},
        **{
            (by, text): None for by in ("plan", "trip") for text in ("x", "", "²", "١", "-1", "999999", "1.0")
        },
        ("sheet", "9876543210"): None,
    }
    with ward.store.read() as session:
        assert {key: patient_named(session, *key) for key in named} == named


def test_a_look_is_noted_once_for_each_person_patient_and_day_and_kept_for_three_days(printed):
    ward, plan = printed
    for number in (0, 0, 3, 4):
        with ward.store.write(ward.counsellor, ward.at(number)) as unit:
            note_opening(unit, patient_id=plan.patient_id, day=ward.day(number))
        with ward.store.read() as session:
            days = [row.day for row in session.exec(select(OpeningRow).order_by(OpeningRow.day))]
            assert is_noted(session, login="mira", patient_id=plan.patient_id, day=ward.day(number))
            assert not is_noted(session, login="omar", patient_id=plan.patient_id, day=ward.day(number))
        kept = {0: [0], 3: [0, 3], 4: [3, 4]}
        assert days == [ward.day(one) for one in kept[number]]
    with ward.store.read() as session:
        looks = [one for one in journal_of_patient(session, "k-1") if one.action == "record opened"]
    assert [(one.actor, one.at) for one in looks] == [("mira", ward.at(number)) for number in (0, 3, 4)]
