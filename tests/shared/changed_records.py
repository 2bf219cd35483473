"""The records that changed lately, whole: the pages only ever ask for what they make of them."""

from __future__ import annotations

from datetime import datetime

from sqlmodel import Session

from followup.clinical.record import Record
from followup.records.figures.recent import changed_since, of_records
from followup.records.store.kept import Kept


def records_since(session: Session, since: datetime) -> dict[int, Record]:
    """The newest record of every patient whose record changed at or after ``since``, by patient."""
    return of_records(session, changed_since(since), lambda record: record, kept=Kept(0))
