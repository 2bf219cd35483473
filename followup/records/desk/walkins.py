"""Whoever comes without a visit: noted at once, so that nobody waits unseen."""

from __future__ import annotations

from collections.abc import Iterable

from sqlmodel import select

from followup.errors import FollowupError
from followup.records.desk.alerts import open_alert
from followup.records.desk.attempts import take_up_again
from followup.records.duties import FRONT
from followup.records.house.clinics import clinic_zone
from followup.records.people.patients import lock_patient
from followup.records.plans.plans import active_plan, plans_of
from followup.records.store.store import Unit
from followup.records.tables import TripRow
from followup.records.trips.trips import trip
from followup.records.views import TripView
from followup.said import say

SIGNS = ("sight falls", "pain", "redness grows", "knock or flashes")
"""What is asked of everybody who comes without a visit: any yes is seen now."""


def note_walk_in(
    unit: Unit, *, patient_id: int, reason: str, nonce: str, signs: Iterable[str] = ()
) -> TripView:
    """The patient is here without a visit for today; the same ``nonce`` again changes nothing.

    It is a visit that serves no check: what was planned stays planned. ``signs``: what was said yes to of
    the four; any of them is an alert until a look is stored. Errors: ``walkin.plan`` where no plan was
    ever made, ``walkin.reason``, ``walkin.sign``, ``role.missing``.
    """
    unit.need_role(*FRONT)
    patient = lock_patient(unit, patient_id)
    used = unit.session.exec(select(TripRow.id).where(TripRow.arrival_nonce == nonce)).first()
    if used is not None:
        return trip(unit.session, used)
    said = tuple(dict.fromkeys(signs))
    _check(reason, said)
    # Whoever comes after the plan has ended, or before one is signed, may be the one in danger.
    plan = active_plan(unit.session, patient_id) or next(iter(plans_of(unit.session, patient_id)), None)
    if plan is None:
        raise FollowupError(
            "walkin.plan",
            say("no plan was ever made for this patient"),
            fix=say("send the patient to the surgeon now"),
        )
    today = unit.now.astimezone(clinic_zone(unit.session)).date()
    numbers = unit.session.exec(select(TripRow.number).where(TripRow.care_plan_id == plan.id))
    row = TripRow(
        patient_id=patient_id,
        care_plan_id=plan.id,
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
    unit.log(
        "came without a visit",
        f"patient:{patient.code}",
        reason=why,
        trip=row.id,
        stood=stood,
        signs=list(said),
    )
    if said:
        open_alert(
            unit, patient_id=patient_id, kind="walk-in", day=today, signs=said, words=why, trip_id=row.id
        )
    return trip(unit.session, row.id)


def _check(reason: str, signs: tuple[str, ...]) -> None:
    """Refuse a sign that is none of the four, and a patient of whom neither sign nor reason is said."""
    if strange := [sign for sign in signs if sign not in SIGNS]:
        raise FollowupError(
            "walkin.sign",
            say("{strange} is none of the four questions", strange=strange[0]),
            where=say("signs"),
            fix=say("ask the four"),
        )
    if not reason.strip() and not signs:
        raise FollowupError(
            "walkin.reason",
            say("not said why"),
            where=say("why"),
            fix=say("say in a few words why the patient comes"),
        )
