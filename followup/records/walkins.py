"""Whoever comes without a visit: noted at once, so that nobody waits unseen."""

from __future__ import annotations

from sqlmodel import select

from followup.errors import FollowupError
from followup.records.attempts import take_up_again
from followup.records.clinics import clinic_zone
from followup.records.patients import lock_patient
from followup.records.plans import active_plan
from followup.records.store import Unit
from followup.records.tables import TripRow
from followup.records.trips import trip
from followup.records.views import TripView


def note_walk_in(unit: Unit, *, patient_id: int, reason: str, nonce: str) -> TripView:
    """The patient is here without a visit for today; the same ``nonce`` again changes nothing.

    It is a visit of the plan in force that serves no check: what was planned stays planned.
    Errors: ``walkin.plan`` without a plan in force, ``walkin.reason``, ``role.missing``.
    """
    unit.need_role("reception", "counsellor", "surgeon")
    patient = lock_patient(unit, patient_id)
    used = unit.session.exec(select(TripRow.id).where(TripRow.arrival_nonce == nonce)).first()
    if used is not None:
        return trip(unit.session, used)
    if not reason.strip():
        raise FollowupError(
            "walkin.reason", "not said why", where="why", fix="say in a few words why the patient comes"
        )
    in_force = active_plan(unit.session, patient_id)
    if in_force is None:
        raise FollowupError(
            "walkin.plan", "no plan is in force for this patient", fix="send the patient to the surgeon now"
        )
    today = unit.now.astimezone(clinic_zone(unit.session)).date()
    numbers = unit.session.exec(select(TripRow.number).where(TripRow.care_plan_id == in_force.id))
    row = TripRow(
        patient_id=patient_id,
        care_plan_id=in_force.id,
        number=max(numbers, default=0) + 1,
        day=today,
        window_start=today,
        window_end=today,
        status="arrived",
        serves=[],
        services=[],
        tier="C",
        arrived_at=unit.now,
        arrival_nonce=nonce,
        seen_on=today,
    )
    unit.session.add(row)
    unit.session.flush()
    assert row.id is not None
    stood = take_up_again(unit, patient, reason="came to the clinic")
    why = reason.strip()[:300]
    unit.log("came without a visit", f"patient:{patient.code}", reason=why, trip=row.id, stood=stood)
    return trip(unit.session, row.id)
