"""Visits to come that lie on a day on which the calendar does not offer what they are for."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from sqlalchemy import ColumnElement
from sqlmodel import Session, col, select

from followup.clinical.statuses import TO_COME
from followup.records.tables import PatientRow, TripRow
from followup.records.trips.places import clinic_calendar
from followup.records.trips.trips import open_trips, trip
from followup.records.views import TripView
from followup.timing.calendar import Calendar


def visits_without_offer(session: Session, calendar: Calendar, today: date) -> tuple[TripView, ...]:
    """From ``today`` on, by day: the clinic is closed, or a service of the visit is not offered."""
    return tuple(
        trip
        for trip in open_trips(session)
        if trip.day >= today and trip.status in TO_COME and not trip.given
        if not offered(calendar, trip.day, trip.services)
    )


def visits_to_move(session: Session, today: date, only: int | None = None) -> tuple[TripView, ...]:
    """The same by the calendar of each patient's own site; ``only``: that visit's id alone."""
    rows = session.exec(
        select(col(TripRow.id), col(TripRow.day), col(TripRow.services), col(PatientRow.site_id))
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(*_ahead(today), ~col(TripRow.given), *([] if only is None else [col(TripRow.id) == only]))
        .order_by(col(TripRow.day), col(TripRow.id))
    ).all()
    calendars = {site: clinic_calendar(session, site) for site in {row[3] for row in rows}}
    return tuple(
        trip(session, number)
        for number, day, services, site in rows
        if number is not None and not offered(calendars[site], day, services)
    )


def visits_ahead(session: Session, today: date) -> tuple[int, ...]:
    """The ids alone of the visits from ``today`` on, for where a row can't be read."""
    numbers = session.exec(
        select(TripRow.id).join(PatientRow, col(PatientRow.id) == TripRow.patient_id).where(*_ahead(today))
    )
    return tuple(number for number in numbers if number is not None)


def _ahead(today: date) -> tuple[ColumnElement[bool], ...]:
    return col(TripRow.status).in_(TO_COME), col(TripRow.day) >= today


def offered(calendar: Calendar, day: date, services: Iterable[str]) -> bool:
    """Whether the clinic is open on ``day`` and offers all of ``services``, full or not."""
    return calendar.is_open(day) and all(calendar.offers(name, day) for name in services)
