"""Before and after printing: how a sheet is to look, its pages on the screen, the sheets of a day."""

from __future__ import annotations

import io
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict
from datetime import date
from functools import partial
from typing import Any, cast, get_args

import pypdfium2  # type: ignore[import-untyped]
from fastapi import APIRouter, Request, Response

from followup.care.plan_view import record_of
from followup.care.recording import day_of_form
from followup.care.sheets import content_of, draft_content, issue_one, staff_language
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.pages import go, pdf_answer
from followup.desks.page.posted import AForm, Posted, first
from followup.errors import FollowupError
from followup.records.people.oplist import operations_on
from followup.records.plans.plans import active_plan
from followup.records.plans.sheets import sheets_of
from followup.records.store.store import Session
from followup.records.views import PlanVersion, SheetView
from followup.said import say
from followup.sheets.options import Paper, SheetOptions, Size, usual_options
from followup.sheets.paper.batch import BatchSheet, render_batch
from followup.sheets.paper.pdf import READER, render_pdf

router = APIRouter()
_SCALE = 1.3


def read_options(form: Posted | Mapping[str, str]) -> SheetOptions:
    """How the sheet is to look. Error ``sheet.options`` for a word that is no choice."""
    given = {name: value[0] if isinstance(value, list) else value for name, value in form.items() if value}
    size, paper = given.get("size") or "normal", given.get("paper") or "A4"
    if size not in get_args(Size) or paper not in get_args(Paper):
        raise FollowupError(
            "sheet.options", say("no such size or paper"), where=say("size"), fix=say("choose from the list")
        )
    return SheetOptions(
        size=cast(Size, size),
        paper=cast(Paper, paper),
        twin=given.get("twin") or None,
        pictures=given.get("pictures") == "yes",
        calendar=given.get("calendar", "yes") == "yes",
    )


def options_dict(options: SheetOptions) -> dict[str, str | bool | None]:
    """The options as they are stored."""
    return asdict(options)


@router.get("/plans/{plan}/pages/{number}.png")
def page_picture(request: Request, hand: AnyHand, plan: int, number: int) -> Response:
    """One page of the draft as it will come out of the printer."""
    asked = dict(request.query_params)
    content = draft_content(hand, plan, asked.get("language") or None, read_options(asked))
    return Response(_picture(render_pdf(content), number), media_type="image/png")


def _picture(pdf: bytes, number: int) -> bytes:
    with READER:
        document = pypdfium2.PdfDocument(pdf)
        try:
            if not 1 <= number <= len(document):
                raise FollowupError(
                    "page.unknown", say("the sheet has no such page"), fix=say("open the first page")
                )
            out = io.BytesIO()
            document[number - 1].render(scale=_SCALE).to_pil().save(out, "PNG")
        finally:
            document.close()
    return out.getvalue()


def count_pages(pdf: bytes) -> int:
    """How many pages a PDF has."""
    with READER:
        document = pypdfium2.PdfDocument(pdf)
        try:
            return len(document)
        finally:
            document.close()


@router.post("/operations/sheets")
def issue_day(hand: AnyHand, form: AForm) -> Response:
    """Issue the sheets of a day's operations that are signed and not printed yet, then show them all."""
    day = day_of_form(first(form, "on"))
    issue_sheets_of(hand, day)
    return go(f"/operations/sheets.pdf?on={day}")


def issue_sheets_of(hand: DeskHand, day: date) -> None:
    """Issue a sheet of every signed plan of the day's operations that has none yet.

    One that can't be laid out is left for the list in front of the sheets, which says why.
    """
    with hand.store.read() as session:
        waiting = [plan for patient in _operated(session, day) if (plan := _unprinted(session, patient))]
    for plan in waiting:
        with suppress(FollowupError), hand.store.write(hand.actor, hand.now) as unit:
            options = usual_options(record_of(unit.session, plan).record)
            issue_one(unit, hand, plan, options, language=None)


@router.get("/operations/sheets.pdf")
def day_sheets(hand: AnyHand, on: str = "", part: int = 1) -> Response:
    """All current sheets of a day's operations in one document, behind the list to tick off."""
    day = day_of_form(on) if on else hand.today
    return pdf_answer(sheets_of_day(hand, day, part), f"sheets-{day}")


def sheets_of_day(hand: DeskHand, day: date, part: int) -> bytes:
    """One document of the day's current sheets; the nearest where there is no such part."""
    with hand.store.read() as session:
        known = [
            _current(session, patient) or _unprinted(session, patient) for patient in _operated(session, day)
        ]
    found = [each for each in known if each]
    if not any(isinstance(each, SheetView) for each in found):
        for plan in found:
            _must_be_printable(hand, plan)
        raise FollowupError(
            "batch.none",
            say("no sheet of this day is printed yet"),
            fix=say("sign the plans first, then print the sheets of the day"),
        )
    batch = render_batch(
        [BatchSheet(each.patient_code, partial(_make, hand, each)) for each in found],
        day=day,
        staff_language=staff_language(hand),
        tell=hand.texts.told,
    )
    return batch.parts[min(max(part, 1), len(batch.parts)) - 1]


def _make(hand: DeskHand, given: SheetView | PlanVersion) -> Any:
    """The sheet's content. A signed plan without a sheet is refused with what keeps it from having one."""
    if isinstance(given, SheetView):
        with hand.store.read() as session:
            return content_of(session, hand, given)
    _must_be_printable(hand, given)
    raise FollowupError(
        "sheet.unprinted", say("its sheet is not printed yet"), fix=say("print the sheets of the day again")
    )


def _must_be_printable(hand: DeskHand, given: SheetView | PlanVersion) -> None:
    """Raises what keeps a plan from having a sheet."""
    if isinstance(given, PlanVersion):
        with hand.store.read() as session:
            options = usual_options(record_of(session, given).record)
        render_pdf(draft_content(hand, given.id, None, options))


def _operated(session: Session, day: Any) -> list[int]:
    found = [line.patient_id for line in operations_on(session, day) if line.entered and line.patient_id]
    return list(dict.fromkeys(found))


def _unprinted(session: Session, patient_id: int) -> PlanVersion | None:
    """The patient's plan in force where it has no sheet yet."""
    plan = active_plan(session, patient_id)
    return plan if plan and not any(s.plan_id == plan.id for s in sheets_of(session, patient_id)) else None


def _current(session: Session, patient_id: int) -> SheetView | None:
    current = [s for s in sheets_of(session, patient_id) if s.replaced_at is None]
    return current[-1] if current else None
