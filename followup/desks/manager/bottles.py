"""The pharmacy's desk: bottles to hand out today and this week, against what was counted on the shelf."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from followup.care.house.shelf import Counts, shelf, store_counts
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, as_typed, first
from followup.errors import FollowupError
from followup.said import say
from followup.typed import typed

router = APIRouter()


@router.get("/bottles")
def bottles_page(request: Request, hand: AnyHand) -> Response:
    return _page(request, hand)


@router.post("/bottles")
def count(request: Request, hand: AnyHand, form: AForm) -> Response:
    """Store what was counted; a medicine whose field is empty keeps its last count."""
    try:
        counts = {name.removeprefix("stock."): _number(form, name) for name in form if _is_count(form, name)}
        store_counts(hand, as_typed(Counts, counts=counts))
    except FollowupError as exc:
        return _page(request, hand, typed=form, error=exc.line, status=status_of(exc))
    return go("/bottles")


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
) -> Response:
    found, given = shelf(hand), typed or {}
    return show(
        request,
        "bottles.html",
        status=status,
        lines=found.lines,
        out=found.out,
        until=found.until,
        typed={name: first(given, name) for name in given},
        error=error,
    )
