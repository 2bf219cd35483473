"""Looks that no offered day can see: the surgeon takes a day with a reason, and the plan is made again."""

from __future__ import annotations

from datetime import date

from fastapi import APIRouter, Request, Response

from followup.care.plans.deciding import Decision, DecisionBack, decide, undecide
from followup.care.plans.plan_view import load
from followup.desks.door.hand import AnyHand
from followup.desks.page.pages import go
from followup.desks.page.posted import AForm, Posted, as_typed, first, number_of
from followup.desks.surgeon.plans import on_newest
from followup.errors import FollowupError
from followup.said import say

router = APIRouter()
NO_DAY = "none"


@router.post("/plans/{plan}/decisions")
def decide_page(request: Request, hand: AnyHand, plan: int, form: AForm) -> Response:
    """Store the decision as the record's next version and build the plan again."""
    view = load(hand, plan)
    try:
        made = decide(
            hand, view, as_typed(Decision, **_which(form), why=first(form, "why"), place=first(form, "place"))
        )
    except FollowupError as exc:
        return on_newest(request, hand, view, exc, decision=form)
    return go(f"/plans/{made.id}")


@router.post("/plans/{plan}/decisions/take-back")
def take_back_page(request: Request, hand: AnyHand, plan: int, form: AForm) -> Response:
    """Make the plan again without a decision."""
    view = load(hand, plan)
    try:
        made = undecide(hand, view, as_typed(DecisionBack, **_which(form)))
    except FollowupError as exc:
        return on_newest(request, hand, view, exc)
    return go(f"/plans/{made.id}")


def _which(form: Posted) -> dict[str, object]:
    """The look and its day, and the record's version that was looked at."""
    return {
        "need": first(form, "need"),
        "day": _day(first(form, "day")),
        "seen": number_of(first(form, "seen")),
    }


def _day(text: str) -> date | None:
    if text == NO_DAY:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise FollowupError(
            "decision.day", say("no day is chosen"), where=say("day"), fix=say("choose one of the days")
        ) from None
