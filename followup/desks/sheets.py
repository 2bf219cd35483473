"""The sheet: printed under a recall code, printed again with a reason, handed over to someone."""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse
from sqlmodel import Session

from followup.clinical.record import Record
from followup.desks.desk import AnyVisit, Visit
from followup.desks.failures import status_of
from followup.desks.pages import go, show
from followup.desks.plans import load, record_of
from followup.desks.posted import AForm, first
from followup.errors import FollowupError
from followup.recall.codes import new_sheet_id, qr_payload, typed_code
from followup.records.plans import plan
from followup.records.sheets import find_sheet, hand_over_sheet, issue_sheet, sheets_of
from followup.records.views import FoundSheet, PlanVersion, SheetView
from followup.sheets.content import ClinicInfo, SheetIssue, build_content, sheet_language
from followup.sheets.model import SheetContent
from followup.sheets.pdf import render_pdf
from followup.sheets.phone import render_phone

router = APIRouter()
PHONE_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; frame-ancestors 'none'"
)


@router.get("/plans/{plan}/draft.pdf")
def draft(visit: AnyVisit, plan: int, language: str | None = None) -> Response:
    """The plan as it would print, with a watermark and without a code."""
    view = load(visit, plan)
    content = build_content(
        view.plan,
        view.record,
        visit.desk.protocol.formulary,
        clinic_info(visit),
        language=language or None,
        printed_on=visit.today,
        aftercare=visit.desk.protocol.aftercare,
    )
    return _pdf(render_pdf(content), f"draft-{view.version.patient_code}-{view.version.number}")


@router.post("/plans/{plan}/sheets")
def print_sheet(visit: AnyVisit, plan: int, form: AForm) -> Response:
    """Issue a sheet of the plan in force under a new code. The same form again issues nothing more."""
    view = load(visit, plan)
    known = _sheets_of_plan(visit, view.version)
    expected = first(form, "issue")
    if expected.isdecimal() and int(expected) < len(known):
        return go(f"/sheets/{known[-1].id}")
    language = sheet_language(view.record, first(form, "language") or None).language.tag
    sheet_id = new_sheet_id()
    with visit.desk.store.write(visit.actor, visit.now) as unit:
        sheet = issue_sheet(
            unit, plan_id=plan, sheet_id=sheet_id, language=language, reason=first(form, "reason")
        )
        # A sheet that can't be laid out is never issued: its code would name nothing.
        render_pdf(content_of(unit.session, visit, sheet))
    return go(f"/sheets/{sheet.id}")


@router.get("/sheets/{sheet}")
def sheet_page(request: Request, visit: AnyVisit, sheet: str) -> Response:
    return _page(request, visit, sheet)


@router.get("/sheets/{sheet}/paper.pdf")
def paper(visit: AnyVisit, sheet: str) -> Response:
    found = _found(visit, sheet).sheet
    with visit.desk.store.read() as session:
        content = content_of(session, visit, found)
    return _pdf(render_pdf(content), f"sheet-{found.patient_code}-{found.issue}")


@router.get("/sheets/{sheet}/phone.html")
def phone(visit: AnyVisit, sheet: str) -> Response:
    """The same sheet as one page that carries everything inside itself."""
    found = _found(visit, sheet).sheet
    with visit.desk.store.read() as session:
        content = content_of(session, visit, found)
    return HTMLResponse(render_phone(content), headers={"content-security-policy": PHONE_POLICY})


@router.post("/sheets/{sheet}/handed-over")
def handed_over(request: Request, visit: AnyVisit, sheet: str, form: AForm) -> Response:
    to, how = first(form, "to"), _how(first(form, "how"))
    known = _found(visit, sheet).sheet
    if known.handed_over_at and known.handed_to == to:
        return go(f"/sheets/{sheet}")
    try:
        with visit.desk.store.write(visit.actor, visit.now) as unit:
            hand_over_sheet(unit, sheet_id=sheet, to=to, how=how)
    except FollowupError as exc:
        return _page(request, visit, sheet, error=exc.line, status=status_of(exc), to=to)
    return go(f"/sheets/{sheet}")


def content_of(session: Session, visit: Visit, sheet: SheetView) -> SheetContent:
    """What stands on an issued sheet. The same sheet gives the same content on any day."""
    version = plan(session, sheet.plan_id)
    record = record_of(session, version).record
    before = _sheet_before(session, sheet)
    issue = SheetIssue(
        code_grouped=typed_code(sheet.id),
        qr_payload=qr_payload(sheet.id, visit.desk.keyring, visit.clinic.code),
        number=str(sheet.issue),
        printed_on=sheet.printed_at.astimezone(visit.zone).date(),
        replaces=str(before.issue) if before else None,
        signed_by=version.signed_by,
    )
    return build_content(
        version.body,
        record,
        visit.desk.protocol.formulary,
        clinic_info(visit),
        language=sheet.language,
        issue=issue,
        printed_on=issue.printed_on,
        aftercare=visit.desk.protocol.aftercare,
        previous=plan(session, before.plan_id).body if before and before.plan_id != sheet.plan_id else None,
    )


def clinic_info(visit: Visit) -> ClinicInfo:
    """The clinic as it stands on a sheet."""
    clinic = visit.clinic
    return ClinicInfo(
        name=clinic.name,
        code=clinic.code,
        telephone_day=clinic.phone_day,
        telephone_night=clinic.phone_night,
        nearest_eye_clinic=clinic.nearest_eye_clinic or None,
        time_zone=clinic.zone,
        sample=clinic.is_sample,
    )


def _sheet_before(session: Session, sheet: SheetView) -> SheetView | None:
    """The sheet that the patient has until this one: the last handed over before it was printed."""
    earlier = [
        other
        for other in sheets_of(session, sheet.patient_id)
        if other.issue < sheet.issue and other.handed_over_at and other.handed_over_at <= sheet.printed_at
    ]
    return earlier[-1] if earlier else None


def _sheets_of_plan(visit: Visit, version: PlanVersion) -> tuple[SheetView, ...]:
    with visit.desk.store.read() as session:
        return tuple(s for s in sheets_of(session, version.patient_id) if s.plan_id == version.id)


def _found(visit: Visit, sheet_id: str) -> FoundSheet:
    with visit.desk.store.read() as session:
        found = find_sheet(session, sheet_id)
    if found is None:
        raise FollowupError("sheet.unknown", "no such sheet was issued here", fix="search by name instead")
    return found


def _how(text: str) -> Literal["paper", "telephone"]:
    if text not in ("paper", "telephone"):
        raise FollowupError(
            "sheet.how", "not said how", where="how", fix="choose on paper or read out by telephone"
        )
    return "paper" if text == "paper" else "telephone"


def _page(
    request: Request,
    visit: Visit,
    sheet_id: str,
    *,
    error: str | None = None,
    status: int = 200,
    to: str = "",
) -> Response:
    found = _found(visit, sheet_id)
    with visit.desk.store.read() as session:
        version = plan(session, found.sheet.plan_id)
        record: Record = record_of(session, version).record
        notice = sheet_language(record, None).notice if record.patient.language else None
    return show(
        request,
        "sheet-page.html",
        status=status,
        found=found,
        sheet=found.sheet,
        who=found.patient,
        code=typed_code(found.sheet.id),
        notice=notice,
        error=error,
        to=to,
    )


def _pdf(content: bytes, name: str) -> Response:
    return Response(
        content,
        media_type="application/pdf",
        headers={"content-disposition": f'inline; filename="{name}.pdf"'},
    )
