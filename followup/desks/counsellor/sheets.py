"""The sheet: printed under a recall code, printed again with a reason, handed over to someone."""

from __future__ import annotations

from dataclasses import replace
from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from followup.care.looks.before_leaving import checks_to_do
from followup.care.plans.plan_view import PlanView, load, record_of
from followup.care.sheets.content import (
    SheetLook,
    bottles_with,
    content_of,
    draft_content,
    found_sheet,
    look_of_plan,
    printed_options,
    staff_language,
)
from followup.care.sheets.issuing import Handed, Printing, Taught, hand_over, print_once, teach
from followup.clinical.record import Record
from followup.desks.counsellor.printing import count_pages, look_of, read_choices
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.noted import noted_today
from followup.desks.page.pages import go, pdf_answer, show
from followup.desks.page.posted import AForm, Posted, act_of, first, number_of
from followup.errors import FollowupError
from followup.language.catalogues import offered
from followup.recall.codes.codes import typed_code
from followup.records.people.patients import patient
from followup.records.plans.desk_notes import teach_back_of
from followup.records.plans.plans import plan
from followup.records.plans.sheets import no_one, sheets_of
from followup.said import say
from followup.sheets.advice import asked_back
from followup.sheets.content import sheet_language
from followup.sheets.paper.pdf import render_pdf
from followup.sheets.phone import render_phone

router = APIRouter()
# A line of the teaching, as a form names it.
_PLACES = frozenset(str(number) for number in range(100))
PHONE_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; frame-ancestors 'none'"
)


@router.get("/plans/{plan}/draft.pdf")
def draft(request: Request, hand: AnyHand, plan: int, language: str | None = None) -> Response:
    """The plan as it would print, with a watermark and without a code."""
    content = draft_content(hand, plan, language or None, read_choices(dict(request.query_params)))
    return pdf_answer(render_pdf(content), f"draft-{content.who.code}-{plan}")


@router.get("/plans/{plan}/preview")
def preview(request: Request, hand: AnyHand, plan: int, language: str = "") -> Response:
    """The pages as they will come out, with what may be chosen beside them."""
    view, error, pages = load(hand, plan), None, 0
    look = look_of_plan(hand, view.version)
    try:
        chosen = read_choices(dict(request.query_params))
        look = look_of_plan(hand, view.version, chosen, language or None)
        pages = count_pages(render_pdf(draft_content(hand, plan, language or None, chosen)))
    except FollowupError as exc:
        error = exc.line
    with hand.store.read() as session:
        who = patient(session, view.version.patient_id)
        sheets = tuple(s for s in sheets_of(session, who.id) if s.plan_id == plan)
    return show(
        request,
        "preview.html",
        status=422 if error else 200,
        view=view,
        version=view.version,
        who=who,
        look=look,
        languages=(tags := [spoken.tag for spoken in offered()]),
        twins=sorted(tags, key=lambda tag: tag != staff_language(hand)),
        pages=pages,
        chosen=tuple(_query(look).items()),
        query=urlencode(_query(look)),
        sheets=sheets,
        error=error,
    )


def _query(look: SheetLook) -> dict[str, str]:
    options = look.options
    return {
        "language": look.language,
        "size": options.size,
        "paper": options.paper,
        "twin": options.twin or "",
        "pictures": "yes" if options.pictures else "no",
        "calendar": "yes" if options.calendar else "no",
    }


@router.post("/plans/{plan}/sheets")
def print_sheet(hand: AnyHand, plan: int, form: AForm) -> Response:
    """Issue a sheet of the plan in force under a new code, and open its pages.

    The same form again issues nothing more; one that does not say how many sheets there were opens the
    pages of the sheet that is not handed over yet, where there is one.
    """
    printed = number_of(first(form, "issue")) if "issue" in form else None
    sent = {"printed": printed, "reason": first(form, "reason"), **look_of(form)}
    sheet = print_once(hand, plan, act_of(Printing, sent | {"language": first(form, "language") or None}))
    return go(f"/sheets/{sheet.id}/paper.pdf")


@router.get("/sheets/{sheet}")
def sheet_page(request: Request, hand: AnyHand, sheet: str) -> Response:
    return _page(request, hand, sheet)


@router.get("/sheets/{sheet}/paper.pdf")
def paper(hand: AnyHand, sheet: str) -> Response:
    found = found_sheet(hand, sheet).sheet
    with hand.store.read() as session:
        content = content_of(session, hand, found)
    return pdf_answer(render_pdf(content), f"sheet-{found.patient_code}-{found.issue}")


@router.get("/sheets/{sheet}/phone.html")
def phone(hand: AnyHand, sheet: str) -> Response:
    """The same sheet as one page that carries everything inside itself."""
    found = found_sheet(hand, sheet).sheet
    with hand.store.read() as session:
        content = content_of(session, hand, found)
    return HTMLResponse(render_phone(content), headers={"content-security-policy": PHONE_POLICY})


@router.post("/sheets/{sheet}/taught")
def taught(hand: AnyHand, sheet: str, form: AForm) -> Response:
    """What the patient showed or said back."""
    teach(hand, sheet, act_of(Taught, {"shown": _shown(form)}))
    return go(f"/sheets/{sheet}")


@router.post("/sheets/{sheet}/handed-over")
def handed_over(request: Request, hand: AnyHand, sheet: str, form: AForm) -> Response:
    """To whom, and with it what the patient showed or said back."""
    to, how = first(form, "to"), _how(first(form, "how"))
    found_sheet(hand, sheet)
    try:
        act = act_of(Handed, {"to": to, "how": how}, to=no_one())
        if "asked" in form:
            teach(hand, sheet, act_of(Taught, {"shown": _shown(form)}))
        hand_over(hand, sheet, act)
    except FollowupError as exc:
        return _page(request, hand, sheet, error=exc.line, status=status_of(exc), typed=form)
    return go(f"/sheets/{sheet}")


def _shown(form: Posted) -> list[int]:
    return [int(text) for text in form.get("shown", []) if text in _PLACES]


def _how(text: str) -> str:
    if text not in ("paper", "telephone"):
        raise FollowupError(
            "sheet.how",
            say("not said how"),
            where=say("how"),
            fix=say("choose on paper or read out by telephone"),
        )
    return text


def _page(
    request: Request,
    hand: DeskHand,
    sheet_id: str,
    *,
    error: str | None = None,
    status: int = 200,
    typed: Posted | None = None,
) -> Response:
    found = found_sheet(hand, sheet_id)
    with hand.store.read() as session:
        version = plan(session, found.sheet.plan_id)
        record: Record = record_of(session, version).record
        notice = sheet_language(record, None).notice if record.patient.language else None
        options = replace(printed_options(session, sheet_id), twin=staff_language(hand))
        content = content_of(session, hand, found.sheet, options)
        told = teach_back_of(session, sheet_id)
        noted = noted_today(session, hand, [found.patient.code], {"sheet handed over"})
        checks = checks_to_do(session, hand, found.patient.code)
    lines = content.teach_back.lines
    asked = asked_back(content.language, lines)
    shown = _shown(typed) if typed else (told.shown if told else ())
    view = PlanView(version, record, hand.protocol, hand.today)
    return show(
        request,
        "sheet-page.html",
        status=status,
        found=found,
        sheet=found.sheet,
        checks=checks,
        who=found.patient,
        code=typed_code(found.sheet.id),
        notice=notice,
        teach=content,
        told=told,
        asked=asked,
        others=[place for place in range(len(lines)) if place not in asked],
        shown=shown,
        view=view,
        bottles=bottles_with(hand, found.sheet, version),
        noted=noted if found.sheet.handed_over_at else [],
        error=error,
        to=first(typed or {}, "to"),
        how=first(typed or {}, "how") or "paper",
    )
