"""Before and after printing: how a sheet is to look, its pages on the screen, the sheets of a day."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any, get_args

import pypdfium2  # type: ignore[import-untyped]
from fastapi import APIRouter, Request, Response

from followup.care.sheets.content import draft_content
from followup.care.sheets.of_a_day import issue_day, sheets_of_day
from followup.desks.door.hand import AnyHand
from followup.desks.door.way import AWay
from followup.desks.page.pages import go, pdf_answer
from followup.desks.page.posted import AForm, Posted, day_of_form, first
from followup.errors import FollowupError
from followup.said import say
from followup.sheets.options import Paper, SheetChoices, Size
from followup.sheets.paper.pdf import READER, render_pdf

router = APIRouter()
_SCALE = 1.3


def read_choices(asked: Posted | Mapping[str, str]) -> SheetChoices:
    """How the sheet is to look, as far as that is said. Error ``sheet.options`` for no choice."""
    return SheetChoices(**look_of(asked))


def look_of(form: Posted | Mapping[str, str]) -> dict[str, Any]:
    """The same by name. A box that may be left empty has a hidden "no" before it, so the last word counts."""
    given = {name: value[-1] if isinstance(value, list) else value for name, value in form.items()}
    look: dict[str, Any] = {name: given[name] for name in ("size", "paper") if given.get(name)}
    if look.get("size", "normal") not in get_args(Size) or look.get("paper", "A4") not in get_args(Paper):
        raise FollowupError(
            "sheet.options", say("no such size or paper"), where=say("size"), fix=say("choose from the list")
        )
    look |= {"twin": given["twin"]} if "twin" in given else {}
    return look | {name: given[name] == "yes" for name in ("pictures", "calendar") if given.get(name)}


@router.get("/plans/{plan}/pages/{number}.png")
def page_picture(request: Request, hand: AnyHand, plan: int, number: int) -> Response:
    """One page of the draft as it will come out of the printer."""
    asked = dict(request.query_params)
    content = draft_content(hand, plan, asked.get("language") or None, read_choices(asked))
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
def issue_sheets(hand: AnyHand, form: AForm, way: AWay) -> Response:
    """Issue the sheets of a day's operations that are signed and not printed yet, then show them all."""
    day = day_of_form(first(form, "on"), hand)
    issue_day(hand, day, way.give)
    return go(f"/operations/sheets.pdf?on={day}")


@router.get("/operations/sheets.pdf")
def day_sheets(hand: AnyHand, way: AWay, on: str = "", part: int = 1) -> Response:
    """All current sheets of a day's operations in one document, behind the list to tick off."""
    day = day_of_form(on, hand) if on else hand.today
    return pdf_answer(sheets_of_day(hand, day, part, hand.texts.told, way.give), f"sheets-{day}")
