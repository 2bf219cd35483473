"""The surgeon's overview: inflamed eyes of the week worst first, my overdue patients, plans side by side."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from followup.care.looks.overview import overview
from followup.care.plans.plans import two_versions
from followup.care.reach.standing import Standing, say_standing
from followup.desks.door.hand import AnyHand
from followup.desks.page.effect import PlanWords, side_by_side
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, as_typed, first
from followup.recall.reach.worklist import reason

router = APIRouter()


@router.get("/my-patients")
def my_patients(request: Request, hand: AnyHand) -> Response:
    words, found = hand.texts.translator, overview(hand)
    return show(
        request,
        "my-patients.html",
        danger=found.danger,
        left=found.left,
        inflamed=found.inflamed,
        mine=[(line, reason(line, words)) for line in found.mine],
        decide=[(item, reason(item.line, words)) for item in found.decide],
        error=None,
    )


@router.post("/patients/{code}/standing")
def change_standing(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """The surgeon says that a patient is lost, has refused, or is followed again."""
    given = {name: first(form, name) for name in ("standing", "reason")}
    say_standing(hand, code, as_typed(Standing, **given))
    return go(f"/patients/{code}")


@router.get("/plans/{plan}/against/{other}")
def compare(
    request: Request, hand: AnyHand, plan_id: Annotated[int, Path(alias="plan")], other: int
) -> Response:
    """What the newer version changes of the older one."""
    new, old, who = two_versions(hand, plan_id, other)
    lines = side_by_side(old.body, new.body, PlanWords(hand.texts, hand.protocol))
    return show(request, "compare.html", who=who, old=old, new=new, lines=lines)
