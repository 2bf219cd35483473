"""Places at the clinic: counted per service and day, taken by conditional UPDATE."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date

from sqlalchemy import CursorResult
from sqlmodel import Session, col, select, update

from followup.errors import FollowupError
from followup.records.clinics import clinic_calendar_of, get_clinic
from followup.records.store import Unit, insert_once
from followup.records.tables import PlaceRow, TripRow
from followup.timing.calendar import Calendar


def clinic_calendar(session: Session) -> Calendar:
    """The clinic's calendar as its manager wrote it."""
    return clinic_calendar_of(get_clinic(session))


def planning_calendar(session: Session, patient_id: int | None = None) -> Calendar:
    """The calendar with every place that is taken, but for those of the patient who is planned."""
    taken = Counter({(row.service, row.day): row.taken for row in session.exec(select(PlaceRow))})
    if patient_id is not None:
        own = select(TripRow).where(TripRow.patient_id == patient_id, col(TripRow.holds_places))
        taken.subtract((service, trip.day) for trip in session.exec(own) for service in trip.services)
    return clinic_calendar(session).with_taken({key: count for key, count in taken.items() if count > 0})


def take_places(
    unit: Unit, calendar: Calendar, *, services: Iterable[str], day: date, overbook: Iterable[str] = ()
) -> None:
    """Take one place of each service on ``day``, or none: error ``place.full`` or ``place.closed``.

    A service in ``overbook`` may go over its limit and be given on a day that does not offer it:
    someone decided so.
    """
    allowed = frozenset(overbook)
    for service in sorted(set(services)):
        if service not in allowed and not calendar.offers(service, day):
            raise FollowupError(
                "place.closed",
                f"{service} is not offered on {day}",
                where="visit",
                fix="choose another day inside the window",
            )
        _make_row(unit.session, service, day)
        capacity = calendar.room(service, day)
        if not _take(unit.session, service, day, capacity, over=service in allowed):
            raise FollowupError(
                "place.full",
                f"the last place for {service} on {day} was taken",
                where="visit",
                fix="choose another day, or have the visits planned again",
            )


def release_places(unit: Unit, *, services: Iterable[str], day: date) -> None:
    """Give the places back."""
    for service in sorted(set(services)):
        unit.session.execute(
            update(PlaceRow)
            .where(col(PlaceRow.service) == service, col(PlaceRow.day) == day, col(PlaceRow.taken) > 0)
            .values(taken=PlaceRow.taken - 1)
        )


def places_taken(session: Session, start: date, end: date) -> dict[tuple[str, date], int]:
    """How many places are taken, by service and day, both days included."""
    rows = session.exec(select(PlaceRow).where(PlaceRow.day >= start, PlaceRow.day <= end))
    return {(row.service, row.day): row.taken for row in rows}


def _make_row(session: Session, service: str, day: date) -> None:
    """The row that is counted on; two that make it at once make one."""
    insert_once(session, PlaceRow, service=service, day=day, taken=0)


def _take(session: Session, service: str, day: date, capacity: int | None, *, over: bool) -> bool:
    statement = (
        update(PlaceRow)
        .where(col(PlaceRow.service) == service, col(PlaceRow.day) == day)
        .values(taken=PlaceRow.taken + 1, capacity=capacity)
    )
    if capacity is not None and not over:
        statement = statement.where(col(PlaceRow.taken) < capacity)
    result = session.execute(statement)
    assert isinstance(result, CursorResult)
    return result.rowcount == 1
