"""On which day people came, of the visits of the past."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import NamedTuple, get_args

from sqlalchemy import select as sql_select
from sqlmodel import Session, col

from followup.clinical.statuses import TripStatus
from followup.records.house.clinics import clinic_zone
from followup.records.tables import PatientRow, TripRow
from followup.records.trips.trips import is_followed

_COUNTS = tuple(status for status in get_args(TripStatus) if status != "cancelled")


class PastVisit(NamedTuple):
    """A visit whose last day has passed. ``came``: the day on which the patient was here; None: never."""

    tier: str
    day: date
    last: date
    came: date | None


def past_visits(session: Session, start: date, today: date) -> tuple[PastVisit, ...]:
    """The visits of which the last day lay from ``start`` on and before ``today``, of whoever is still
    followed; who came without a visit made none."""
    zone = clinic_zone(session)
    names = ("tier", "day", "window_end", "seen_on", "arrived_at", "serves", "services")
    rows = session.execute(
        sql_select(*(col(getattr(TripRow, name)) for name in names))
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        # Every status, named: the index by last days begins with it.
        .where(col(TripRow.status).in_(_COUNTS), col(TripRow.window_end) >= start)
        .where(col(TripRow.window_end) < today, is_followed())
    )

    def read() -> Iterator[PastVisit]:
        for tier, day, last, seen, arrived, serves, services in rows:
            if serves or services:
                yield PastVisit(tier, day, last, arrived.astimezone(zone).date() if arrived else seen)

    return tuple(read())
