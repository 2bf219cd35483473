"""The outcome audit: as a page, on paper, and as a table for programs. Counts alone, small ones masked."""

from __future__ import annotations

from datetime import date

from fastapi import APIRouter, Request, Response

from followup.care.house.auditing import ToldAudit, audit_of, told_audit
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.days import AskedSpan
from followup.desks.page.pages import pdf_answer, show
from followup.desks.words.texts import Texts
from followup.drawings.intervals import HEIGHT, WIDTH, build_intervals
from followup.exchange.audit.document import CONVENTIONS, LIMITS
from followup.exchange.audit.figures import Audit
from followup.exchange.audit.flat import as_csv
from followup.exchange.audit.paper import audit_pdf

router = APIRouter()


@router.get("/outcomes/audit")
def audit_page(request: Request, hand: AnyHand, span: AskedSpan) -> Response:
    """Every figure with its interval, then how it was counted and what it can't say."""
    found = audit_of(hand, *span)
    told = told_audit(hand, found).document
    return show(
        request,
        "audit.html",
        found=found,
        told=told,
        heads=(LIMITS, CONVENTIONS),
        plots=[
            build_intervals([line.drawn for line in table.lines], hand.texts.runs_left)
            for table in told.tables
        ],
        width=WIDTH,
        height=HEIGHT,
    )


@router.get("/outcomes/audit.csv")
def audit_table(hand: AnyHand, span: AskedSpan) -> Response:
    """The same as one flat table, its dictionary in it."""
    found, told = _told(hand, span)
    disposition = f'attachment; filename="{_name(found)}.csv"'
    return Response(
        as_csv(told.rows),
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": disposition},
    )


@router.get("/outcomes/audit.pdf")
def audit_paper(hand: AnyHand, span: AskedSpan) -> Response:
    """The same on paper, in the language of whoever is logged in."""
    found, told = _told(hand, span)
    # Paper is read in other years too: every day says its own.
    texts = Texts(hand.language)

    def words(text: str | date) -> str:
        return texts.month(text) if isinstance(text, date) else texts.told(text)

    paper = audit_pdf(told.document, hand.clinic.name, texts.translator.language, words, found.today)
    return pdf_answer(paper, _name(found))


def _told(hand: DeskHand, span: tuple[date | None, date | None]) -> tuple[Audit, ToldAudit]:
    found = audit_of(hand, *span)
    return found, told_audit(hand, found)


def _name(found: Audit) -> str:
    return f"audit {found.begin.isoformat()} {found.end.isoformat()}"
