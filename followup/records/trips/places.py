"""Places at the clinic: counted per service and day, taken by conditional UPDATE."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date

from sqlalchemy import ColumnElement, CursorResult
from sqlmodel import Session, col, select, update

from followup.errors import FollowupError
from followup.records.house.clinics import clinic_calendar_of, get_clinic
from followup.records.store.binding import MAIN, site_of_session
from followup.records.store.sites import site_of_patient
from followup.records.store.store import Unit, insert_once
from followup.records.tables import PlaceRow, TripRow
from followup.said import say
from followup.timing.calendar import Calendar


def clinic_calendar(session: Session, site: int | None = None) -> Calendar:
    """The calendar as its manager wrote it, of ``site`` or of the whole clinic."""
    return clinic_calendar_of(get_clinic(session, site))


def planning_calendar(session: Session, patient_id: int | None = None) -> Calendar:
    """The calendar with every place that is taken, but for those of the patient who is planned."""
    site = site_of_session(session) if patient_id is None else site_of_patient(session, patient_id)
    rows = session.exec(select(PlaceRow).where(PlaceRow.site_id == site))
    taken = Counter({(row.service, row.day): row.taken for row in rows})
    if patient_id is not None:
        own = select(TripRow).where(TripRow.patient_id == patient_id, col(TripRow.holds_places))
        taken.subtract((service, trip.day) for trip in session.exec(own) for service in trip.services)
    free = clinic_calendar(session, site)
    return free.with_taken({key: count for key, count in taken.items() if count > 0})


def take_places(
    unit: Unit,
    calendar: Calendar,
    *,
    services: Iterable[str],
    day: date,
    overbook: Iterable[str] = (),
    site: int = MAIN,
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
                say("{service} is not offered on {day}", service=service, day=day),
                where=say("visit"),
                fix=say("choose another day inside the window"),
            )
        _make_row(unit.session, site, service, day)
        capacity = calendar.room(service, day)
        if not _take(unit.session, site, service, day, capacity, over=service in allowed):
            raise FollowupError(
                "place.full",
                say("the last place for {service} on {day} was taken", service=service, day=day),
                where=say("visit"),
                fix=say("choose another day, or have the visits planned again"),
            )


def release_places(unit: Unit, *, services: Iterable[str], day: date, site: int = MAIN) -> None:
    """Give the places back."""
    for service in sorted(set(services)):
        unit.session.execute(
            update(PlaceRow)
            .where(*_key(site, service, day), col(PlaceRow.taken) > 0)
            .values(taken=PlaceRow.taken - 1)
        )


def places_taken(session: Session, start: date, end: date) -> dict[tuple[str, date], int]:
    """How many places are taken, by service and day, both days included."""
    here = PlaceRow.site_id == site_of_session(session)
    rows = session.exec(select(PlaceRow).where(here, PlaceRow.day >= start, PlaceRow.day <= end))
    return {(row.service, row.day): row.taken for row in rows}


def _key(site: int, service: str, day: date) -> tuple[ColumnElement[bool], ...]:
    return col(PlaceRow.site_id) == site, col(PlaceRow.service) == service, col(PlaceRow.day) == day


def _make_row(session: Session, site: int, service: str, day: date) -> None:
    """The row that is counted on; two that make it at once make one."""
    insert_once(session, PlaceRow, site_id=site, service=service, day=day, taken=0)


def _take(session: Session, site: int, service: str, day: date, capacity: int | None, *, over: bool) -> bool:
    statement = (
        update(PlaceRow).where(*_key(site, service, day)).values(taken=PlaceRow.taken + 1, capacity=capacity)
    )
    if capacity is not None and not over:
        statement = statement.where(col(PlaceRow.taken) < capacity)
    result = session.execute(statement)
    assert isinstance(result, CursorResult)
    return result.rowcount == 1
