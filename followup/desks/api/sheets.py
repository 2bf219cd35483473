"""Sheets: looked at before printing, printed under a code, taught, handed over."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Depends, Query, Response

from followup.care.sheets.content import bottles_with, content_of, draft_content, found_sheet
from followup.care.sheets.issuing import Handed, Printing, Taught, hand_over, print_once, teach
from followup.clinical.day_plan import Bottle
from followup.desks.api.base import Given, PlanId, SheetId, router_of
from followup.desks.api.operations import PDF
from followup.desks.api.people import Person, SheetLine, person_of, sheet_line
from followup.desks.counsellor.sheets import paper as paper_page
from followup.desks.counsellor.sheets import phone as phone_page
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.pages import pdf_answer
from followup.records.plans.desk_notes import teach_back_of
from followup.records.plans.plans import plan
from followup.sheets.options import Paper, SheetChoices, Size
from followup.sheets.paper.pdf import render_pdf

router = router_of("Sheets")
HTML: dict[int | str, dict[str, Any]] = {200: {"content": {"text/html": {"schema": {"type": "string"}}}}}


class SheetOut(Given):
    """A sheet, whose it is, and what goes with it.

    ``give_instead`` is the sheet in force where this one is not; ``teach`` are the lines that the patient
    says or shows back, ``shown`` those that were, counted from 0; ``bottles`` are handed out with it.
    """

    sheet: SheetLine
    patient: Person
    current: bool
    give_instead: SheetLine | None
    teach: list[str]
    shown: list[int]
    bottles: list[Bottle]


def _choices(
    size: Size | None = None,
    paper: Paper | None = None,
    twin: Annotated[str | None, Query(max_length=35)] = None,
    pictures: bool | None = None,
    calendar: bool | None = None,
) -> SheetChoices:
    return SheetChoices(size, paper, twin, pictures, calendar)


@router.get("/plans/{plan}/draft.pdf", response_class=Response, responses=PDF)
def draft(
    hand: AnyHand,
    plan_id: PlanId,
    chosen: Annotated[SheetChoices, Depends(_choices)],
    language: Annotated[str | None, Query(max_length=35)] = None,
) -> Response:
    """The pages as they would come out, with a watermark and without a code.

    What is not chosen is as the patient and the clinic need it.
    """
    content = draft_content(hand, plan_id, language or None, chosen)
    return pdf_answer(render_pdf(content), f"draft-{content.who.code}-{plan_id}")


@router.post("/plans/{plan}/sheets")
def issue(hand: AnyHand, plan_id: PlanId, sent: Printing) -> SheetLine:
    """Issue a sheet of the plan in force under a new code."""
    return sheet_line(print_once(hand, plan_id, sent))


@router.get("/sheets/{sheet}")
def one(hand: AnyHand, sheet_id: SheetId) -> SheetOut:
    """A sheet and what goes with it."""
    return _one(hand, sheet_id)


@router.get("/sheets/{sheet}/paper.pdf", response_class=Response, responses=PDF)
def paper(hand: AnyHand, sheet_id: SheetId) -> Response:
    """The sheet to print."""
    return paper_page(hand, sheet_id)


@router.get("/sheets/{sheet}/phone.html", response_class=Response, responses=HTML)
def phone(hand: AnyHand, sheet_id: SheetId) -> Response:
    """The sheet as one page for a telephone."""
    return phone_page(hand, sheet_id)


@router.post("/sheets/{sheet}/taught")
def taught(hand: AnyHand, sheet_id: SheetId, sent: Taught) -> SheetOut:
    """Store what the patient said or showed back, in place of what stood there."""
    teach(hand, sheet_id, sent)
    return _one(hand, sheet_id)


@router.post("/sheets/{sheet}/handed-over")
def handed_over(hand: AnyHand, sheet_id: SheetId, sent: Handed) -> SheetOut:
    """The sheet is in somebody's hands. To the same person again it counts once."""
    hand_over(hand, sheet_id, sent)
    return _one(hand, sheet_id)


def _one(hand: DeskHand, sheet_id: str) -> SheetOut:
    found = found_sheet(hand, sheet_id)
    with hand.store.read() as session:
        told = teach_back_of(session, sheet_id)
        version = plan(session, found.sheet.plan_id)
        teach = list(content_of(session, hand, found.sheet).teach_back.lines)
    return SheetOut(
        sheet=sheet_line(found.sheet),
        patient=person_of(found.patient, hand.today),
        current=found.current,
        give_instead=sheet_line(found.give_instead) if found.give_instead else None,
        teach=teach,
        shown=list(told.shown) if told else [],
        bottles=bottles_with(hand, found.sheet, version),
    )
