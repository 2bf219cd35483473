"""Which visits were kept: the figures of how completely patients are followed up."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from sqlmodel import Session, col, select

from followup.records.tables import PatientRow, TripRow


@dataclass(frozen=True)
class ClosedVisit:
    """A visit whose last day has passed: seen in time, seen late, or never."""

    tier: str
    result: Literal["in time", "late", "never"]


def visits_with_closed_window(session: Session, start: date, today: date) -> tuple[ClosedVisit, ...]:
    """Visits with a last day from ``start`` on and before ``today``; replaced ones don't count."""
    rows = session.exec(
        select(TripRow)
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(TripRow.window_end >= start, TripRow.window_end < today, TripRow.status != "cancelled")
    )
    return tuple(ClosedVisit(row.tier, _result(row.seen_on, row.window_end)) for row in rows)


def _result(seen: date | None, end: date) -> Literal["in time", "late", "never"]:
    if seen is None:
        return "never"
    return "in time" if seen <= end else "late"
