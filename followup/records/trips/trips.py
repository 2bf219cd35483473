"""The visits of signed plans, as rows: proposed when a plan is signed, cancelled when it is replaced."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, exists
from sqlalchemy import select as sql_select
from sqlmodel import Session, and_, col, or_, select

from followup.clinical.careplan import Trip
from followup.clinical.statuses import CAME, TO_COME
from followup.errors import FollowupError
from followup.records.people.patients import lock_patient
from followup.records.store.sites import site_of_patient
from followup.records.store.store import Unit
from followup.records.tables import PatientRow, StandingRow, TripRow
from followup.records.trips.places import clinic_calendar, release_places, take_places
from followup.records.views import TripView
from followup.said import say

# A missed visit stays open: what it was to look at has not been looked at.
OPEN = (*TO_COME, "noshow")
# Columns alone, in the order of the view: of hundreds of visits each row as an object is what costs.
_FIELDS = tuple(field.name for field in fields(TripView))
_ELSEWHERE = {
    "plan_id": TripRow.care_plan_id,
    "patient_code": PatientRow.code,
    "patient_name": PatientRow.name,
}
_COLUMNS = [col(_ELSEWHERE.get(name) or getattr(TripRow, name)) for name in _FIELDS]
_SEVERAL = [_FIELDS.index(name) for name in ("serves", "services", "overbooked", "served")]


def trip(session: Session, trip_id: int) -> TripView:
    """One visit. Error: ``trip.unknown``."""
    found = _trips(session, col(TripRow.id) == trip_id)
    if not found:
        raise FollowupError(
            "trip.unknown", say("no such visit"), fix=say("open the patient and choose a visit")
        )
    return found[0]


def held_trip(unit: Unit, trip_id: int) -> TripRow:
    """The visit's row, with its patient held until the unit ends. Error ``trip.unknown``, as at any site."""
    lock_patient(unit, trip(unit.session, trip_id).patient_id)
    row = unit.session.get_one(TripRow, trip_id)
    unit.session.refresh(row)
    return row


def day_trips(session: Session, day: date) -> tuple[TripView, ...]:
    """Everybody expected on ``day`` or seen on it, by patient code.

    Whoever is not followed any more is not expected.
    """
    expected = and_(col(TripRow.day) == day, col(TripRow.status).not_in(("cancelled",)), is_followed())
    seen = and_(col(TripRow.seen_on) == day, col(TripRow.status).in_(CAME))
    found = _trips(session, or_(expected, seen))
    return tuple(sorted(found, key=lambda visit: (visit.patient_code, visit.day)))


def is_followed() -> ColumnElement[bool]:
    """That nobody has said of the visit's patient: moved away, died, refused, or lost."""
    gone = exists().where(
        col(StandingRow.patient_id) == TripRow.patient_id, col(StandingRow.standing) != "followed"
    )
    return ~gone


def missed_trips(session: Session, today: date) -> tuple[TripView, ...]:
    """Visits of an earlier day than ``today`` that have not taken place, of those who are followed."""
    return _trips(session, col(TripRow.status).in_(OPEN), col(TripRow.day) < today, is_followed())


def open_trips(session: Session) -> tuple[TripView, ...]:
    """Visits that have not taken place, by day and patient code."""
    return _trips(session, col(TripRow.status).in_(OPEN))


def trips_past_window(session: Session, today: date, patient: int | None = None) -> tuple[TripView, ...]:
    """Visits that have not taken place though the last day of their window lies before ``today``.

    ``patient``: that one's alone.
    """
    return _trips(session, *_past_window(today, patient))


def trip_ids_past_window(session: Session, today: date, patient: int | None = None) -> tuple[int, ...]:
    """The ids alone of :func:`trips_past_window`, for where a row can't be read."""
    numbers = session.exec(
        select(TripRow.id)
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(*_past_window(today, patient))
    )
    return tuple(number for number in numbers if number is not None)


def _past_window(today: date, patient: int | None) -> tuple[ColumnElement[bool], ...]:
    return (
        col(TripRow.status).in_(OPEN),
        col(TripRow.window_end) < today,
        *of_patient(patient),
    )


def of_patient(patient: int | None) -> tuple[ColumnElement[bool], ...]:
    """That a visit is this patient's; None: whoever's."""
    return () if patient is None else (col(TripRow.patient_id) == patient,)


def trips_with_ids(session: Session, numbers: Iterable[int]) -> tuple[TripView, ...]:
    """These visits, in the order of their ids as given."""
    wanted = list(numbers)
    found = {one.id: one for one in _trips(session, col(TripRow.id).in_(wanted))}
    return tuple(found[number] for number in wanted if number in found)


def patient_of_trip(session: Session, trip_id: int) -> int:
    """Whose visit it is, without reading the rest of the row."""
    return session.exec(select(TripRow.patient_id).where(TripRow.id == trip_id)).one()


def days_seen(session: Session, patients: Iterable[int]) -> dict[int, tuple[tuple[int, date], ...]]:
    """When patients were here: for each the visit's id and the day, oldest first.

    Whoever left without findings was not.
    """
    names = ("patient_id", "id", "seen_on", "status", "left_at")
    # Asked for by the patients alone: beside a status SQLite takes the index of all visits ever done.
    rows = session.execute(
        sql_select(*(col(getattr(TripRow, name)) for name in names)).where(
            col(TripRow.patient_id).in_(set(patients))
        )
    )
    found: dict[int, list[tuple[date, int]]] = {}
    for patient_id, trip_id, seen, status, left in rows:
        if seen is not None and (status == "fulfilled" or (status == "arrived" and left is None)):
            found.setdefault(patient_id, []).append((seen, trip_id))
    return {who: tuple((trip_id, seen) for seen, trip_id in sorted(own)) for who, own in found.items()}


def trips_of(session: Session, patient_id: int) -> tuple[TripView, ...]:
    """Every visit of a patient, cancelled ones too, by day."""
    return _trips(session, col(TripRow.patient_id) == patient_id)


def trips_of_all(session: Session, patients: Iterable[int]) -> dict[int, tuple[TripView, ...]]:
    """Every visit of each of these patients, cancelled ones too, by day."""
    found: dict[int, list[TripView]] = {}
    for one in _trips(session, col(TripRow.patient_id).in_(set(patients))):
        found.setdefault(one.patient_id, []).append(one)
    return {number: tuple(own) for number, own in found.items()}


def trips_of_plan(session: Session, plan_id: int) -> tuple[TripView, ...]:
    """The visits of one plan version, by day."""
    return _trips(session, col(TripRow.care_plan_id) == plan_id)


def cancel_open_trips(unit: Unit, *, patient_id: int, reason: str) -> dict[date, TripView]:
    """Cancel the patient's open visits and give back their places; the booked ones come back, by day."""
    mine = col(TripRow.patient_id) == patient_id
    booked = {one.day: one for one in _trips(unit.session, mine, col(TripRow.status) == "booked")}
    rows = unit.session.exec(
        select(TripRow, PatientRow)
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(mine, col(TripRow.status).in_(OPEN))
    ).all()
    for row, patient in rows:
        if row.holds_places:
            release_places(unit, services=row.services, day=row.day, site=patient.site_id)
        row.status, row.holds_places, row.ended_reason = "cancelled", False, reason
        row.ended_at = unit.now
        unit.session.add(row)
    unit.session.flush()
    return booked


def end_arrivals(unit: Unit, *, patient_id: int, plan_id: int | None, today: date, reason: str) -> None:
    """What becomes of visits under way when their plan ends, by the new ``plan_id`` or (None) for good.

    What was looked at is done. Whoever is here now is here for the visit of the new plan on this day, or
    without one; a visit of an earlier day at which nothing was looked at is cancelled: its checks are
    planned again.
    """
    mine = select(TripRow).where(TripRow.patient_id == patient_id)
    new = unit.session.exec(
        mine.where(TripRow.care_plan_id == plan_id, TripRow.day == today, col(TripRow.status).in_(OPEN))
    ).first()
    arrived = mine.where(TripRow.status == "arrived")
    if plan_id is not None:
        arrived = arrived.where(TripRow.care_plan_id != plan_id)
    for row in unit.session.exec(arrived).all():
        if plan_id is None and row.seen_on == today:
            continue  # here now: findings, or a person, close the visit
        here = row.seen_on == today and plan_id is not None
        came_without = not row.serves and not row.services
        if here and new is not None and row.left_at is None and not came_without:
            nonce, row.arrival_nonce = row.arrival_nonce, None
            unit.session.add(row)
            unit.session.flush()
            new.status, new.arrived_at, new.seen_on = "arrived", row.arrived_at, today
            new.arrival_nonce = nonce
            unit.session.add(new)
            here = False
        if row.served:
            row.status, row.fulfilled_at = "fulfilled", unit.now
        elif here:
            row.serves, row.services = [], []
        else:
            row.status, row.ended_reason, row.ended_at = "cancelled", reason, unit.now
        unit.session.add(row)
    unit.session.flush()


def propose_trips(
    unit: Unit, *, plan_id: int, patient_id: int, trips: Iterable[Trip], kept: Mapping[date, TripView]
) -> None:
    """Store the plan's visits still to come; one on the day of a ``kept`` booking stays booked."""
    site = site_of_patient(unit.session, patient_id)
    for planned in trips:
        if planned.status not in ("proposed", "booked"):
            continue
        before = kept.get(planned.date)
        booked = planned.status == "booked" or before is not None
        if booked:
            # Promised places stay promised, even where the day is full by now.
            promised = planned.services if before is None else before.services
            take_places(
                unit,
                clinic_calendar(unit.session, site),
                services=planned.services,
                day=planned.date,
                overbook={*promised, *planned.overbooked, *(planned.services if _is_given(planned) else ())},
                site=site,
            )
        hour = planned.hour or (before.hour if before else None)
        unit.session.add(_row(plan_id, patient_id, planned, booked=booked, hour=hour))
    unit.session.flush()


def _row(plan_id: int, patient_id: int, planned: Trip, *, booked: bool, hour: str | None) -> TripRow:
    return TripRow(
        hour=hour,
        patient_id=patient_id,
        care_plan_id=plan_id,
        number=planned.number,
        day=planned.date,
        window_start=planned.window_start,
        window_end=planned.window_end,
        status="booked" if booked else "proposed",
        serves=list(planned.serves),
        services=list(planned.services),
        overbooked=list(planned.overbooked),
        given=_is_given(planned),
        place=planned.place,
        opens=planned.hours[0] if planned.hours else None,
        closes=planned.hours[1] if planned.hours else None,
        tier=planned.tier,
        cannot_move=planned.cannot_move,
        holds_places=booked,
    )


def _is_given(planned: Trip) -> bool:
    """Whether the visit stands whatever the calendar says: someone decided so, or is on call."""
    return planned.decided or planned.place is not None


def _trips(session: Session, *conditions: ColumnElement[bool]) -> tuple[TripView, ...]:
    rows = session.execute(
        sql_select(*_COLUMNS)
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(*conditions)
        .order_by(col(TripRow.day), col(PatientRow.code_key), col(TripRow.id))
    )
    return tuple(_view(row) for row in rows)


def _view(row: Iterable[Any]) -> TripView:
    told = list(row)
    for at in _SEVERAL:
        told[at] = tuple(told[at])
    return TripView(*told)
