"""What the desks note: how a sheet was printed, what was taught with it, what is on the shelf."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlmodel import Session, select

from followup.clinical.statuses import TripStatus
from followup.errors import FollowupError
from followup.records.duties import FRONT, STORE
from followup.records.plans.sheets import sheet_here
from followup.records.store.binding import site_of_session
from followup.records.store.store import Unit
from followup.records.tables import (
    SheetChoiceRow,
    StockCountRow,
    TeachBackRow,
)
from followup.said import say

MOST_BOTTLES = 1_000_000
Options = Mapping[str, str | bool | None]
_VISITS = "visits"


@dataclass(frozen=True)
class NotedVisit:
    """How a visit stood when a sheet was printed."""

    day: date
    hour: str | None
    status: TripStatus


NotedVisits = Mapping[int, NotedVisit]
"""By the visit's number in its plan."""


@dataclass(frozen=True)
class TeachBack:
    """Which of the ``asked`` items were shown back, by whom noted and when."""

    shown: tuple[int, ...]
    asked: int
    by: str
    at: datetime


@dataclass(frozen=True)
class StockCount:
    bottles: int
    by: str
    at: datetime


def as_printed(options: Options, visits: NotedVisits) -> dict[str, Any]:
    """How a sheet is printed and how its visits stand, as it is kept with the sheet."""
    days = {str(number): [v.day.isoformat(), v.hour, v.status] for number, v in visits.items()}
    return {**options, _VISITS: days}


def sheet_options(session: Session, sheet_id: str) -> Options:
    """How the sheet was printed; empty where nobody chose."""
    row = session.get(SheetChoiceRow, sheet_id)
    return {key: value for key, value in row.options.items() if key != _VISITS} if row else {}


def sheet_visits(session: Session, sheet_id: str) -> NotedVisits:
    """How the sheet's visits stood on the day of printing; empty where nobody noted it."""
    row = session.get(SheetChoiceRow, sheet_id)
    noted = row.options.get(_VISITS, {}) if row else {}
    return {
        int(number): NotedVisit(date.fromisoformat(day), hour, status)
        for number, (day, hour, status) in noted.items()
    }


def note_teach_back(unit: Unit, *, sheet_id: str, shown: Iterable[int], asked: int) -> None:
    """Store what the patient showed back; a later note replaces an earlier one.

    Errors: ``role.missing``, ``sheet.unknown``.
    """
    unit.need_role(*FRONT)
    sheet_here(unit.session, sheet_id)
    kept = sorted({i for i in shown if 0 <= i < asked})
    row = unit.session.get(TeachBackRow, sheet_id) or TeachBackRow(
        sheet_id=sheet_id, shown=[], asked=asked, by="", at=unit.now
    )
    row.shown, row.asked, row.by, row.at = kept, asked, unit.actor.login, unit.now
    unit.session.add(row)
    unit.session.flush()
    unit.log("taught", f"sheet:{sheet_id}", shown=len(kept), asked=asked)


def teach_back_of(session: Session, sheet_id: str) -> TeachBack | None:
    row = session.get(TeachBackRow, sheet_id)
    return TeachBack(tuple(row.shown), row.asked, row.by, row.at) if row else None


def count_stock(unit: Unit, *, counts: Mapping[str, int]) -> None:
    """Store what was counted on the shelf. Errors: ``role.missing``, ``stock.count``."""
    unit.need_role(*STORE)
    site = site_of_session(unit.session)
    for medicine, bottles in counts.items():
        if not 0 <= bottles <= MOST_BOTTLES:
            raise FollowupError(
                "stock.count",
                say("{bottles} can't be on a shelf", bottles=bottles),
                where=medicine,
                fix=say("count again"),
            )
        row = unit.session.get(StockCountRow, (site, medicine)) or StockCountRow(
            site_id=site, medicine=medicine, bottles=0, by="", at=unit.now
        )
        row.bottles, row.by, row.at = bottles, unit.actor.login, unit.now
        unit.session.add(row)
    unit.session.flush()
    unit.log("stock counted", "stock", medicines=len(counts))


def stock(session: Session) -> dict[str, StockCount]:
    """The last counts at the session's site, by medicine."""
    rows = session.exec(select(StockCountRow).where(StockCountRow.site_id == site_of_session(session)))
    return {row.medicine: StockCount(row.bottles, row.by, row.at) for row in rows}
