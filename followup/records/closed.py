"""Visits to come that lie on a day on which the calendar does not offer what they are for."""

from __future__ import annotations

from datetime import date

from sqlmodel import Session

from followup.records.trips import open_trips
from followup.records.views import TripView
from followup.timing.calendar import Calendar


def visits_without_offer(session: Session, calendar: Calendar, today: date) -> tuple[TripView, ...]:
    """From ``today`` on, by day: the clinic is closed, or a service of the visit is not offered."""
    return tuple(
        trip
        for trip in open_trips(session)
        if trip.day >= today and trip.status != "noshow" and not _offered(trip, calendar)
    )


def _offered(trip: TripView, calendar: Calendar) -> bool:
    return calendar.is_open(trip.day) and all(calendar.offers(name, trip.day) for name in trip.services)
