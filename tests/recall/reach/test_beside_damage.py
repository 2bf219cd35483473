"""Beside an entry that can't be read everybody else stands on the list for the same reason as before."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from followup.clinical.careplan import Caution, Question
from followup.recall.reach.worklist import worklist
from followup.records.desk.trip_steps import mark_arrived
from followup.records.house.clinics import get_clinic, put_clinic

QUESTION = Question(id="q", text="Which?", eye="right", fields=("operations.0.lens",))
CHILD = Caution(id="child", text="Under 18: plan by hand.", eye=None, level="stop")
KINDS = {
    "OVERDUE": "overdue",
    "HERE": "left unseen",
    "CLOSED": "closed day",
    "BY-HAND": "plan by hand",
    "ASKED": "plan incomplete",
    "NEW": "new version",
}


@pytest.fixture
def crowd(sqlite_ward, in_hand):
    """Somebody for each reason, and DAMAGED, whose visits are one overdue and one on a closed day."""
    ward = sqlite_ward

    def visits(code: str, *days: int) -> None:
        needs = tuple(ward.need(f"look-{day}", 1, day) for day in days)
        trips = tuple(ward.visit(i, need.latest.day - 1, need) for i, need in enumerate(needs, 1))
        plans[code] = ward.signed(code, ward.body(code, needs=needs, trips=trips))
        in_hand(ward, plans[code])

    plans = {}
    visits("OVERDUE", 1)
    visits("HERE", 1)
    visits("CLOSED", 7)
    visits("DAMAGED", 1, 7)
    visits("NOBODY", 9)
    plans["NEW"] = ward.signed("NEW", ward.body("NEW", needs=(), trips=()))
    held = ward.body("BY-HAND", status="on-hold", refused=(CHILD,), needs=(), trips=())
    ward.draft(ward.enter(ward.record("BY-HAND")), held)
    asked = ward.body("ASKED", questions=(QUESTION,), needs=(), trips=())
    ward.draft(ward.enter(ward.record("ASKED")), asked)
    with ward.store.write(ward.reception, ward.at(1)) as unit:
        mark_arrived(unit, trip_id=ward.trips(plans["HERE"])[0].id, nonce="n")
    with ward.store.write(ward.manager, ward.now) as unit:
        calendar = json.dumps({"holidays": [ward.day(7).isoformat()]})
        put_clinic(unit, replace(get_clinic(unit.session), calendar=calendar))
    return ward, plans["DAMAGED"].patient_id


def _kinds(ward) -> dict[str, str]:
    with ward.store.read() as session:
        return {line.patient.code: line.kind for line in worklist(session, ward.at(3))}


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE trip SET serves = 'broken' WHERE patient_id = :who AND number = 1",
        "UPDATE trip SET serves = 'broken' WHERE patient_id = :who AND number = 2",
        "UPDATE patient SET telephones = 'broken' WHERE id = :who",
    ],
)
def test_a_visit_or_person_that_can_not_be_read_changes_nobody_elses_reason(crowd, damage):
    ward, who = crowd
    assert _kinds(ward) == {**KINDS, "DAMAGED": "overdue"}
    with ward.store.engine.begin() as connection:
        connection.exec_driver_sql(damage.replace(":who", str(who)))
    assert _kinds(ward) == {**KINDS, "DAMAGED": "damaged"}


def test_a_plan_that_can_not_be_read_changes_nobody_elses_reason(crowd):
    ward, _ = crowd
    broken = ward.enter(ward.record("BROKEN"))
    plan = ward.draft(broken, ward.body("BROKEN", needs=(), trips=()))
    with ward.store.engine.begin() as connection:
        connection.exec_driver_sql(f"UPDATE care_plan SET gist = '{{' WHERE id = {plan.id}")
    assert _kinds(ward) == {**KINDS, "DAMAGED": "overdue", "BROKEN": "damaged"}
