"""Printed sheets: issued, handed over, found again by their recall id."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, Literal, cast

from sqlalchemy import ColumnElement
from sqlmodel import Session, col, select

from followup.errors import FollowupError
from followup.records.duties import FRONT, PROGRAM
from followup.records.people.patients import lock_patient, patient
from followup.records.plans.bound import ISSUED, sheet_hash
from followup.records.plans.plans import active_plan, completed_plan
from followup.records.store.store import Unit
from followup.records.tables import CarePlanRow, PatientRow, SheetChoiceRow, SheetRow
from followup.records.views import FoundSheet, SheetView
from followup.said import say

_SAME = {
    "id",
    "patient_id",
    "issue",
    "language",
    "printed_at",
    "printed_by",
    "reason",
    "handed_over_at",
    "handed_over_by",
    "handed_to",
    "replaced_at",
    "replaced_by_plan",
}


def issue_sheet(
    unit: Unit,
    *,
    plan_id: int,
    sheet_id: str,
    language: str,
    reason: str = "",
    options: Mapping[str, Any] | None = None,
) -> SheetView:
    """Note that a sheet of the plan in force is printed under this recall id, and how (``options``).

    Errors: ``role.missing``; ``sheet.plan`` when the plan is not in force (a draft prints without a code),
    ``sheet.reason`` when a sheet of it exists and no reason for another is given, ``sheet.taken``.
    """
    unit.need_role(*FRONT, PROGRAM)
    row = unit.session.get(CarePlanRow, plan_id)
    code = lock_patient(unit, row.patient_id).code if row else ""
    _, sheet = _next_sheet(unit.session, plan_id, sheet_id, language, unit.now, unit.actor.login, reason)
    if unit.session.get(SheetRow, sheet_id) is not None:
        raise FollowupError("sheet.taken", say("this code is in use"), fix=say("print again with a new code"))
    unit.session.add(sheet)
    unit.session.flush()
    if options is not None:
        unit.session.add(SheetChoiceRow(sheet_id=sheet_id, options=dict(options)))
        unit.session.flush()
    unit.log(
        ISSUED,
        f"patient:{code}",
        issue=sheet.issue,
        language=language,
        reason=sheet.reason,
        id=sheet_id,
        sha256=sheet_hash(unit.session, sheet),
    )
    return _only(_sheets(unit.session, col(SheetRow.id) == sheet_id))


def sheet_to_come(
    session: Session, *, plan_id: int, sheet_id: str, language: str, now: datetime, by: str, reason: str = ""
) -> SheetView:
    """The sheet as :func:`issue_sheet` would store it at ``now``; nothing is stored. Errors: its own."""
    plan, sheet = _next_sheet(session, plan_id, sheet_id, language, now, by, reason)
    return _view(sheet, plan, session.get_one(PatientRow, plan.patient_id))


def _next_sheet(
    session: Session, plan_id: int, sheet_id: str, language: str, now: datetime, by: str, reason: str
) -> tuple[CarePlanRow, SheetRow]:
    """The plan in force, read anew, and its next sheet, which is not stored yet."""
    row = session.get(CarePlanRow, plan_id, populate_existing=True)
    if row is None or row.status != "active":
        raise FollowupError(
            "sheet.plan",
            say("only a signed plan in force has a sheet with a code"),
            fix=say("sign it, or print a draft"),
        )
    earlier = session.exec(select(SheetRow).where(SheetRow.patient_id == row.patient_id)).all()
    if any(sheet.care_plan_id == plan_id for sheet in earlier) and not reason.strip():
        raise FollowupError(
            "sheet.reason",
            say("a sheet of this plan was printed before"),
            where=say("reason"),
            fix=say("say why again"),
        )
    return row, SheetRow(
        id=sheet_id,
        patient_id=row.patient_id,
        care_plan_id=plan_id,
        issue=max((other.issue for other in earlier), default=0) + 1,
        language=language,
        printed_at=now,
        printed_by=by,
        reason=reason.strip(),
    )


def hand_over_sheet(
    unit: Unit, *, sheet_id: str, to: str, how: Literal["paper", "telephone"] = "paper"
) -> SheetView:
    """The sheet is in the hands of ``to``, or was read to them by telephone.

    Errors: ``role.missing``, ``sheet.unknown``, ``sheet.replaced``, ``sheet.to`` (to whom?),
    ``sheet.handed_over``.
    """
    unit.need_role(*FRONT)
    code = lock_patient(unit, sheet_here(unit.session, sheet_id).patient_id).code
    row = unit.session.get_one(SheetRow, sheet_id)
    unit.session.refresh(row)
    if row.replaced_at is not None:
        raise FollowupError(
            "sheet.replaced", say("a newer plan exists"), fix=say("print and hand over its sheet")
        )
    if row.handed_over_at is not None:
        raise FollowupError(
            "sheet.handed_over",
            say("already handed over to {handed_to}", handed_to=row.handed_to),
            fix=say("nothing to do"),
        )
    if not to.strip():
        raise no_one()
    row.handed_over_at, row.handed_over_by = unit.now, unit.actor.login
    row.handed_to, row.how = to.strip(), how
    unit.session.add(row)
    unit.session.flush()
    unit.log("sheet handed over", f"patient:{code}", issue=row.issue, how=how, sheet=row.id)
    return _only(_sheets(unit.session, col(SheetRow.id) == sheet_id))


def no_one() -> FollowupError:
    """The error for a sheet that is handed over to nobody."""
    return FollowupError("sheet.to", say("not said to whom"), where=say("to"), fix=say("name the person"))


def printed_in_force(session: Session) -> tuple[datetime, ...]:
    """When each sheet was printed that no other has replaced and whose plan is in force."""
    chosen = (
        select(SheetRow.printed_at)
        .join(CarePlanRow, col(CarePlanRow.id) == SheetRow.care_plan_id)
        .where(col(SheetRow.replaced_at).is_(None), CarePlanRow.status == "active")
    )
    return tuple(session.exec(chosen))


def find_sheet(session: Session, sheet_id: str) -> FoundSheet | None:
    """Whose sheet it is and whether it is in force; None: never issued here."""
    found = _sheets(session, col(SheetRow.id) == sheet_id)
    if not found:
        return None
    sheet = found[0]
    plan, ended = active_plan(session, sheet.patient_id), completed_plan(session, sheet.patient_id)
    current = plan is not None and plan.id == sheet.plan_id
    newest = _sheets(session, col(SheetRow.care_plan_id) == plan.id) if plan else ()
    return FoundSheet(
        sheet=sheet,
        patient=patient(session, sheet.patient_id),
        current=current,
        in_force=plan.id if plan else None,
        give_instead=newest[-1] if newest and not current else None,
        completed_at=ended.ended_at if ended else None,
    )


def sheet_here(session: Session, sheet_id: str) -> SheetView:
    """The sheet of a patient of the session's site. Error ``sheet.unknown``."""
    return _only(_sheets(session, col(SheetRow.id) == sheet_id))


def sheets_of(session: Session, patient_id: int) -> tuple[SheetView, ...]:
    """Every sheet of a patient, oldest first."""
    return _sheets(session, col(SheetRow.patient_id) == patient_id)


def sheets_of_plans(session: Session, plans: Iterable[int]) -> dict[int, SheetView]:
    """Of each of these plans the sheet that was printed first, where there is one."""
    found = _sheets(session, col(SheetRow.care_plan_id).in_(set(plans)))
    return {sheet.plan_id: sheet for sheet in reversed(found)}


def _sheets(session: Session, *conditions: ColumnElement[bool]) -> tuple[SheetView, ...]:
    rows = session.exec(
        select(SheetRow, CarePlanRow, PatientRow)
        .join(CarePlanRow, col(CarePlanRow.id) == SheetRow.care_plan_id)
        .join(PatientRow, col(PatientRow.id) == SheetRow.patient_id)
        .where(*conditions)
        .order_by(col(SheetRow.patient_id), col(SheetRow.issue))
    )
    return tuple(_view(sheet, plan, who) for sheet, plan, who in rows)


def _only(found: tuple[SheetView, ...]) -> SheetView:
    if not found:
        raise _unknown()
    return found[0]


def _unknown() -> FollowupError:
    return FollowupError(
        "sheet.unknown", say("no such sheet was issued here"), fix=say("search by name instead")
    )


def _view(sheet: SheetRow, plan: CarePlanRow, who: PatientRow) -> SheetView:
    same = sheet.model_dump(include=_SAME)
    return SheetView(
        **same,
        patient_code=who.code,
        plan_id=sheet.care_plan_id,
        plan_number=plan.number,
        how=cast(Literal["paper", "telephone"] | None, sheet.how),
    )
