"""Visits to come that lie on a day on which the calendar does not offer what they are for."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import date

from sqlalchemy import ColumnElement, Text, cast
from sqlmodel import Session, col, select

from followup.clinical.statuses import TO_COME
from followup.records.tables import PatientRow, TripRow
from followup.records.trips.places import clinic_calendar
from followup.records.trips.trips import of_patient, open_trips, trips_with_ids
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


def visits_to_move(
    session: Session, today: date, only: int | None = None, *, patient: int | None = None
) -> tuple[TripView, ...]:
    """The same by the calendar of each patient's own site.

    ``only``: the visit with this id alone; ``patient``: that one's alone.
    """
    asked = [*_ahead(today, patient), ~col(TripRow.given)]
    if only is not None:
        asked.append(col(TripRow.id) == only)
    # What is asked of the calendar does not grow with the patients: a day, its services, the site.
    services = cast(col(TripRow.services), Text)
    different = session.exec(
        select(col(TripRow.day), services, col(PatientRow.site_id))
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(*asked)
        .distinct()
    ).all()
    calendars = {site: clinic_calendar(session, site) for site in {row[2] for row in different}}
    closed = {
        (day, text, site)
        for day, text, site in different
        if not offered(calendars[site], day, json.loads(text))
    }
    if not closed:
        return ()
    ids = session.exec(
        select(col(TripRow.id), col(TripRow.day), services, col(PatientRow.site_id))
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(*asked, col(TripRow.day).in_({day for day, _, _ in closed}))
        .order_by(col(TripRow.day), col(TripRow.id))
    ).all()
    return trips_with_ids(session, (number for number, *told in ids if number and tuple(told) in closed))


def visits_ahead(session: Session, today: date, patient: int | None = None) -> tuple[int, ...]:
    """The ids alone of the visits from ``today`` on, for where a row can't be read."""
    numbers = session.exec(
        select(TripRow.id)
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(*_ahead(today, patient))
    )
    return tuple(number for number in numbers if number is not None)


def _ahead(today: date, patient: int | None) -> tuple[ColumnElement[bool], ...]:
    return col(TripRow.status).in_(TO_COME), col(TripRow.day) >= today, *of_patient(patient)


def offered(calendar: Calendar, day: date, services: Iterable[str]) -> bool:
    """Whether the clinic is open on ``day`` and offers all of ``services``, full or not."""
    return calendar.is_open(day) and all(calendar.offers(name, day) for name in services)
