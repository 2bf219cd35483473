"""Changes of a plan's steps: what they would do, stored as a draft, taken back."""

from __future__ import annotations

from followup.care.plans.plan_view import load
from followup.care.plans.plans import TakeBack, without_change
from followup.care.plans.steps import StepsChange, plans_of_steps, store_steps
from followup.clinical.careplan import CarePlan
from followup.desks.api.base import Given, PlanId, router_of
from followup.desks.api.plans import PlanOut, whole_plan
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.effect import effect_or_nothing

router = router_of("Plans")


class Effect(Given):
    """What a change does, in sentences of the staff's language; nothing is stored."""

    sentences: list[str]


@router.post("/plans/{plan}/steps/effect")
def effect_of_change(hand: AnyHand, plan_id: PlanId, sent: StepsChange) -> Effect:
    """What other steps of a course would do."""
    return effect_told(hand, plans_of_steps(hand, load(hand, plan_id), sent))


@router.post("/plans/{plan}/steps")
def change_steps(hand: AnyHand, plan_id: PlanId, sent: StepsChange) -> PlanOut:
    """Change the steps of a course: a draft that waits for the signature."""
    return whole_plan(hand, store_steps(hand, load(hand, plan_id), sent).id)


@router.post("/plans/{plan}/take-back")
def take_back(hand: AnyHand, plan_id: PlanId, sent: TakeBack) -> PlanOut:
    """Make the draft without one of the surgeon's changes."""
    return whole_plan(hand, without_change(hand, load(hand, plan_id), sent).id)


def effect_told(hand: DeskHand, plans: tuple[CarePlan, CarePlan]) -> Effect:
    """What the second of the plans does against the first."""
    return Effect(sentences=list(effect_or_nothing(plans, hand.texts, hand.protocol)))
