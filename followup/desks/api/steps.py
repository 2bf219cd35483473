"""Changes of a plan's steps: what they would do, stored as a draft, taken back."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from followup.care.plan_view import load
from followup.desks.api.base import Day, Given, Id, Line, PlanId, Sent, router_of
from followup.desks.api.plans import PlanOut, whole_plan
from followup.desks.door.hand import AnyHand
from followup.desks.surgeon.plans import without_change
from followup.desks.surgeon.steps import (
    MOST_A_DAY,
    MOST_DAYS,
    MOST_STEPS,
    StepsForm,
    effect_of_steps,
    store_steps,
)

router = router_of("Plans")


class StepOut(Sent):
    times_a_day: Annotated[int, Field(strict=True, ge=1, le=MOST_A_DAY)]
    days: Annotated[int, Field(strict=True, ge=1, le=MOST_DAYS)]


class StepsChange(Sent):
    """From ``starts`` on the course runs these steps; none end it on the day before."""

    course: Annotated[Line, Field(min_length=1)]
    starts: Day
    steps: Annotated[list[StepOut], Field(max_length=MOST_STEPS)]
    reason: Annotated[Line, Field(min_length=1)]


class TakeBack(Sent):
    """``change`` is the place of the change in ``edits``, counted from 1."""

    change: Id


class Effect(Given):
    """What a change does, in sentences of the staff's language; nothing is stored."""

    sentences: list[str]


@router.post("/plans/{plan}/steps/effect")
def effect_of_change(hand: AnyHand, plan_id: PlanId, sent: StepsChange) -> Effect:
    """What other steps of a course would do."""
    return Effect(sentences=list(effect_of_steps(hand, load(hand, plan_id), _form(sent))))


@router.post("/plans/{plan}/steps")
def change_steps(hand: AnyHand, plan_id: PlanId, sent: StepsChange) -> PlanOut:
    """Change the steps of a course: a draft that waits for the signature."""
    return whole_plan(hand, store_steps(hand, load(hand, plan_id), _form(sent)).id)


@router.post("/plans/{plan}/take-back")
def take_back(hand: AnyHand, plan_id: PlanId, sent: TakeBack) -> PlanOut:
    """Make the draft without one of the surgeon's changes."""
    return whole_plan(hand, without_change(hand, load(hand, plan_id), sent.change).id)


def _form(sent: StepsChange) -> StepsForm:
    return StepsForm(
        sent.course,
        sent.starts.isoformat(),
        tuple(str(step.times_a_day) for step in sent.steps),
        tuple(str(step.days) for step in sent.steps),
        sent.reason,
    )
