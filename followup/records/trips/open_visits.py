"""Visits that have not taken place, as the sweep needs them: a few columns, some at a time."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from datetime import date
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement
from sqlalchemy import select as sql_select
from sqlmodel import Session, col

from followup.clinical.statuses import TripStatus
from followup.records.tables import PatientRow, TripRow
from followup.records.trips.trips import OPEN


class OpenVisit(NamedTuple):
    """A visit with what says whether it is late."""

    id: int
    number: int
    day: date
    window_end: date
    status: TripStatus
    patient_code: str


def open_visits(session: Session, until: date, *, at_once: int) -> Iterator[list[OpenVisit]]:
    """Every open visit with a day up to ``until``, ``at_once`` together, however many there are."""
    found = session.execute(_visits(col(TripRow.day) <= until).execution_options(yield_per=at_once))
    for some in found.partitions():
        yield [OpenVisit(*row) for row in some]


def open_visit_ids(session: Session, until: date) -> tuple[int, ...]:
    """Their ids alone, for where a row can't be read."""
    ids = sql_select(col(TripRow.id)).where(col(TripRow.status).in_(OPEN), col(TripRow.day) <= until)
    return tuple(session.execute(ids.order_by(col(TripRow.id))).scalars())


def still_open(session: Session, numbers: Collection[int]) -> list[OpenVisit]:
    """Those of these visits that are open now, in the order of their ids."""
    rows = session.execute(_visits(col(TripRow.id).in_(numbers)))
    return sorted(OpenVisit(*row) for row in rows)


def _visits(which: ColumnElement[bool]) -> Any:
    """The statement that reads them."""
    columns = (TripRow.id, TripRow.number, TripRow.day, TripRow.window_end, TripRow.status, PatientRow.code)
    return (
        sql_select(*map(col, columns))
        .join(PatientRow, col(PatientRow.id) == TripRow.patient_id)
        .where(col(TripRow.status).in_(OPEN), which)
    )
