"""How a visit ends: what was looked at is closed by findings, or one by one; who left unseen stays listed."""

from __future__ import annotations

from datetime import date

from sqlmodel import Session, col, select

from followup.clinical.careplan import CarePlan, read_stored
from followup.clinical.plan.served import seen_by_findings
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record
from followup.clinical.statuses import CAME
from followup.errors import FollowupError
from followup.records.desk.trip_steps import end_visit
from followup.records.duties import CLINICAL, FRONT
from followup.records.house.clinics import clinic_zone
from followup.records.people.patients import lock_patient
from followup.records.store.store import Unit
from followup.records.tables import CarePlanRow, PatientRow, TripRow
from followup.records.trips.trips import OPEN, held_trip, is_followed, of_patient, trip, trips_with_ids
from followup.records.views import TripView
from followup.said import say

LEFT = "left without findings"


def mark_left(unit: Unit, *, trip_id: int) -> TripView:
    """The patient went home. What was looked at is done, and the rest becomes a visit of its own.

    Without any look the visit stays as it was, and stands on the surgeon's list. Twice is once.
    Errors: ``role.missing``, ``trip.state`` when nobody arrived for it.
    """
    unit.need_role(*FRONT)
    row = _arrived(unit, trip_id)
    if row.status == "fulfilled" or row.left_at is not None:
        return trip(unit.session, trip_id)
    if row.served:
        row.left_at = unit.now
        return end_visit(unit, trip_id=trip_id, served=tuple(row.served))
    row.left_at = unit.now
    unit.session.add(row)
    unit.session.flush()
    seen = trip(unit.session, trip_id)
    unit.log(LEFT, f"patient:{seen.patient_code}", visit=row.number, trip=trip_id)
    return seen


def mark_unseen(unit: Unit, *, trip_id: int) -> TripView:
    """A clinical role says that nothing was looked at: the visit is open again, as if nobody had come.

    Errors: ``role.missing``, ``trip.state``.
    """
    unit.need_role(*CLINICAL)
    row = _arrived(unit, trip_id)
    if row.status != "arrived" or row.served:
        raise FollowupError(
            "trip.state",
            say("something was looked at at this visit"),
            where=say("visit of {day}", day=row.day),
            fix=say("look at what the visit has seen, and say what is still missing"),
        )
    came_without = not row.serves and not row.services
    seen_on = row.seen_on
    row.status = "cancelled" if came_without else "proposed"
    row.ended_reason = LEFT if came_without else None
    row.arrived_at = row.seen_on = row.left_at = None
    unit.session.add(row)
    unit.session.flush()
    seen = trip(unit.session, trip_id)
    unit.log(
        "nothing looked at",
        f"patient:{seen.patient_code}",
        visit=row.number,
        trip=trip_id,
        day=seen_on.isoformat() if seen_on else "",
    )
    return seen


def close_by_findings(unit: Unit, *, patient_id: int, record: Record, protocol: Protocol, day: date) -> None:
    """What the looks of ``day`` in ``record`` saw is closed in the patient's visits of that day.

    Whoever is looked at today is here, also where nobody at the window has marked the arrival.
    Error ``role.missing``.
    """
    unit.need_role(*CLINICAL)
    lock_patient(unit, patient_id)
    here = (col(TripRow.status) == "arrived") & (col(TripRow.seen_on) == day)
    if day == unit.now.astimezone(clinic_zone(unit.session)).date():
        here |= col(TripRow.status).in_(OPEN) & (col(TripRow.window_start) <= day)
    rows = unit.session.exec(select(TripRow).where(TripRow.patient_id == patient_id, here)).all()
    for row in rows:
        body = _body(unit.session, row)
        if row.serves:
            looked = _needs_seen(body, row, record, protocol, day)
        else:
            looked = () if _missing(body, row, record, protocol, day) else ("",)
        if not looked:
            continue
        number = row.id
        assert number is not None
        if set(row.serves) <= set(looked) or row.status != "arrived":
            end_visit(unit, trip_id=number, served=tuple(key for key in row.serves if key in looked))
        elif set(looked) != set(row.served):
            row.served = [key for key in row.serves if key in looked]
            unit.session.add(row)
            unit.session.flush()
            code = trip(unit.session, number).patient_code
            unit.log("looked at", f"patient:{code}", visit=row.number, served=row.served)


def unseen_ids(session: Session, today: date, patient: int | None = None) -> tuple[int, ...]:
    """The ids of visits at which the patient was here on an earlier day and nobody wrote down a look."""
    ids = session.exec(
        select(TripRow.id)
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(TripRow.status == "arrived", col(TripRow.seen_on) < today, *of_patient(patient))
        .order_by(col(TripRow.seen_on), col(TripRow.id))
    )
    return tuple(number for number in ids if number is not None)


def left_trips(session: Session, today: date) -> tuple[TripView, ...]:
    """Visits at which nobody wrote down a look: of an earlier day, or left today; longest ago first."""
    ids = session.exec(
        select(TripRow.id)
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(TripRow.status == "arrived", is_followed())
        .where((col(TripRow.seen_on) < today) | col(TripRow.left_at).is_not(None))
        .order_by(col(TripRow.seen_on), col(TripRow.id))
    ).all()
    return trips_with_ids(session, (number for number in ids if number is not None))


def _needs_seen(
    body: CarePlan | None, row: TripRow, record: Record, protocol: Protocol, day: date
) -> tuple[str, ...]:
    """The needs of the visit that were closed before, or that the looks of the day have seen."""
    needs = [need for need in body.needs if need.key in row.serves] if body else []
    seen = {n.key for n in needs if seen_by_findings(record, protocol, n.kind, n.eye, day)}
    return tuple(key for key in row.serves if key in seen or key in row.served)


def _missing(body: CarePlan | None, row: TripRow, record: Record, protocol: Protocol, day: date) -> bool:
    """Whether a visit without a need of its own has not seen what it is for.

    One between two checks is for what the plan watches; whoever came without a visit, for any look.
    """
    if body and row.services:
        return not all(seen_by_findings(record, protocol, kind, eye, day) for kind, eye in body.watched)
    return not any(seen_by_findings(record, protocol, "", look.eye, day) for look in record.reviews)


def _body(session: Session, row: TripRow) -> CarePlan | None:
    plan = session.get(CarePlanRow, row.care_plan_id)
    return read_stored(plan.body) if plan else None


def _arrived(unit: Unit, trip_id: int) -> TripRow:
    row = held_trip(unit, trip_id)
    if row.status not in CAME:
        raise FollowupError(
            "trip.state",
            say("nobody has come for this visit yet"),
            where=say("visit of {day}", day=row.day),
            fix=say("mark the patient as arrived first"),
        )
    return row
