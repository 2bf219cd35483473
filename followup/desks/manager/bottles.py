"""The pharmacy's desk: who waits for bottles, what is given, labels, and the shelf against the week."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from followup.care.house.shelf import Counts, shelf, store_counts
from followup.care.sheets.giving import (
    BottlesGiven,
    WronglyGiven,
    changed,
    give,
    labels,
    take_given_back,
    window,
)
from followup.clinical.protocol.formulary import label_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.noted import Noted, noted_today
from followup.desks.page.pages import go, pdf_answer, show
from followup.desks.page.parts import Whole, part
from followup.desks.page.posted import AForm, Posted, act_of, as_typed, first, number_of
from followup.errors import FollowupError
from followup.records.desk.handing import given_on
from followup.records.desk.taking_back import not_any_more
from followup.said import say
from followup.sheets.paper.labels_pdf import A_SHEET, labels_pdf
from followup.typed import typed

router = APIRouter()


@router.get("/bottles")
def bottles_page(request: Request, hand: AnyHand, whole: Whole = "") -> Response:
    return _page(request, hand, whole=whole)


@router.post("/bottles")
def count(request: Request, hand: AnyHand, form: AForm) -> Response:
    """Store what was counted; a medicine whose field is empty keeps its last count."""
    try:
        counts = {name.removeprefix("stock."): _number(form, name) for name in form if _is_count(form, name)}
        store_counts(hand, as_typed(Counts, counts=counts))
    except FollowupError as exc:
        return _page(request, hand, typed=form, error=exc.line, status=status_of(exc))
    return go("/bottles")


@router.post("/bottles/{code}/given")
def given(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """The bottles of one person, as the list named them, are in that person's hands."""
    named = {"plan": number_of(first(form, "plan")), "bottles": form.get("bottle", [])}
    try:
        sent = act_of(BottlesGiven, named, plan=changed(), bottles=changed())
        give(hand, code, sent)
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, status=status_of(exc))
    return go("/bottles")


@router.post("/bottles/{code}/take-back")
def take_back_given(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    try:
        take_given_back(
            hand, code, act_of(WronglyGiven, {"entry": number_of(first(form, "entry"))}, entry=not_any_more())
        )
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, status=status_of(exc))
    return go("/bottles")


@router.get("/bottles/labels.pdf")
def labels_page(hand: AnyHand, code: str = "", start: int = 1, single: bool = False) -> Response:
    """The labels of one person, or of everybody who waits, from the first free place of a sheet on."""
    found = labels(hand, code)
    return pdf_answer(
        labels_pdf(found, hand.today, start=None if single else start), f"labels {code}".strip()
    )


def given_today(hand: DeskHand) -> list[Noted]:
    """What was marked as given today and can be taken back, newest first."""
    with hand.store.read() as session:
        return noted_today(session, hand, given_on(session, hand.today), {"bottles given"})


def _is_count(form: Posted, name: str) -> bool:
    return name.startswith("stock.") and first(form, name) != ""


def _number(form: Posted, name: str) -> int:
    text = first(form, name)
    if not (text.isascii() and text.isdecimal() and len(text) < 8):
        raise FollowupError(
            "stock.count",
            say("{text} is no number of bottles", text=typed(text[:20])),
            where=name[6:],
            fix=say("write digits"),
        )
    return int(text)


def _page(
    request: Request,
    hand: DeskHand,
    *,
    typed: Posted | None = None,
    error: str | None = None,
    status: int = 200,
    whole: str = "",
) -> Response:
    found, given = shelf(hand), typed or {}
    waits = window(hand, found.read)
    names = ("today", "before", "given")
    return show(
        request,
        "bottles.html",
        status=status,
        waits={name: part(name, getattr(waits, name), whole) for name in names},
        label=lambda one: label_of(one.course.medicine, hand.protocol.formulary),
        noted=given_today(hand),
        free=range(1, A_SHEET + 1),
        lines=found.lines,
        until=found.until,
        typed={name: first(given, name) for name in given},
        error=error,
    )
