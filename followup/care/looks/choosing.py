"""The proposals that the surgeon follows, with other steps and a medicine: a draft to be signed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from pydantic import Field

from followup.care.act import Act, Line, Number
from followup.care.hand import Hand
from followup.care.looks.eye_case import DECIDED, EyeCase
from followup.care.looks.looks import reason_of, titles_of
from followup.care.plans.adjusting import MOST_A_DAY, MOST_STEPS, both_plans, joined
from followup.care.plans.planning import draft_plan
from followup.clinical.adjustments import Adjustment, CourseAdded, CourseEdit
from followup.clinical.careplan import CarePlan
from followup.clinical.review.proposal import Outcome, Proposal
from followup.clinical.review.review import accept
from followup.errors import FollowupError
from followup.records.views import PlanVersion
from followup.said import say

MOST_OFFER_DAYS = 180


class StepSent(Act):
    """A count of 0 leaves the days out."""

    times_a_day: Annotated[int, Field(strict=True, ge=0, le=MOST_A_DAY)]
    days: Annotated[int, Field(strict=True, ge=1, le=999)]


class OtherSteps(Act):
    """Other steps for one adjustment (counted from 0) of a proposal; none end the course."""

    proposal: Annotated[Line, Field(min_length=1)]
    adjustment: Annotated[int, Field(strict=True, ge=0, le=100)]
    steps: Annotated[list[StepSent], Field(max_length=MOST_STEPS)]


class Offered(Act):
    """A pressure medicine that a proposal offers."""

    medicine: Annotated[Line, Field(min_length=1)]
    days: Annotated[int, Field(strict=True, ge=1, le=MOST_OFFER_DAYS)]


class Other(Act):
    """A pressure medicine outside the list, with its dose."""

    medicine: Annotated[Line, Field(min_length=1)]
    times_a_day: Annotated[int, Field(strict=True, ge=1, le=MOST_A_DAY)]
    days: Annotated[int, Field(strict=True, ge=1, le=MOST_OFFER_DAYS)]


class Choice(Act):
    """The proposals that are followed. ``seen`` is the number of the newest plan looked at.

    ``reason``: why, in the surgeon's words. A proposal that is followed as it stands is its own reason;
    whoever changes its steps or gives a medicine outside the list says why.
    """

    take: Annotated[list[Annotated[Line, Field(min_length=1)]], Field(min_length=1, max_length=20)]
    seen: Number
    reason: Line = ""
    steps: Annotated[tuple[OtherSteps, ...], Field(max_length=40)] = ()
    offer: Offered | None = None
    other: Other | None = None


def plans_of_choice(hand: Hand, case: EyeCase, outcome: Outcome, sent: Choice) -> tuple[CarePlan, CarePlan]:
    """The newest plan made again for today, and what the chosen proposals make of it; nothing is stored."""
    newest, after = _with_choice(hand, case, outcome, sent)
    return both_plans(hand, case.who.id, newest.id, newest.edits, after)


def store_choice(hand: Hand, case: EyeCase, outcome: Outcome, sent: Choice) -> int:
    """Store the chosen proposals as a draft to sign; the plan's id.

    Errors: those of ``must_be_chosen``, ``look.medicine``, those of ``draft_plan``.
    """
    edits = _with_choice(hand, case, outcome, sent)[1]
    chosen = [p for p in outcome.proposals if p.id in sent.take]
    with hand.store.write(hand.actor, hand.now) as unit:
        made = draft_plan(
            unit, hand, case.who.id, edits=edits, reason=reason_of(chosen, sent.reason), seen=sent.seen
        )
        unit.log(
            DECIDED,
            f"patient:{case.who.code}",
            eye=case.eye,
            taken=titles_of(chosen),
            reason=sent.reason,
            day=outcome.date.isoformat(),
        )
    return made.id


def must_be_chosen(
    hand: Hand,
    case: EyeCase,
    outcome: Outcome,
    *,
    take: Sequence[str],
    reason: str,
    other: str,
    departs: bool,
) -> PlanVersion:
    """The newest plan, where it can be changed like this; ``departs``: otherwise than proposed.

    Errors: ``plan.unknown``, ``look.medicine``, ``look.none``, ``look.reason``.
    """
    if case.newest is None:
        raise FollowupError(
            "plan.unknown", say("there is no plan to change"), fix=say("open the record and store it")
        )
    if other and other not in dict(pressure_medicines(hand)):
        raise FollowupError(
            "look.medicine",
            say("{other} is no pressure drop of the formulary", other=other),
            where=say("product"),
            fix=say("choose one"),
        )
    if not take or not {proposal.id for proposal in outcome.proposals}.issuperset(take):
        raise FollowupError(
            "look.none", say("no proposal is chosen"), where=say("proposals"), fix=say("choose at least one")
        )
    if departs and not reason:
        raise FollowupError(
            "look.reason",
            say("no reason given"),
            where=say("reason"),
            fix=say("say why it is done otherwise than proposed"),
        )
    return case.newest


def pressure_medicines(hand: Hand) -> list[tuple[str, str]]:
    """Every drop for the pressure that the formulary knows: key and name."""
    kinds = {rule.kind for rule in hand.protocol.review.offer}
    found = (
        (key, medicine.label)
        for key, medicine in hand.protocol.formulary.items()
        if kinds & set(medicine.kinds) and medicine.route != "mouth"
    )
    return sorted(found, key=lambda each: each[1].casefold())


def _with_choice(
    hand: Hand, case: EyeCase, outcome: Outcome, sent: Choice
) -> tuple[PlanVersion, tuple[Adjustment, ...]]:
    other = sent.other.medicine if sent.other else ""
    departs = bool(sent.other or sent.steps)
    newest = must_be_chosen(
        hand, case, outcome, take=sent.take, reason=sent.reason, other=other, departs=departs
    )
    return newest, joined(newest.edits, _adjustments(outcome, sent, hand.by))


def _adjustments(outcome: Outcome, sent: Choice, by: str) -> tuple[Adjustment, ...]:
    """The adjustments of the chosen proposals, with steps as the surgeon has changed them.

    What speaks against a medicine outside the list is asked in the draft.
    """
    known = {proposal.id: proposal for proposal in outcome.proposals}
    chosen = [_edited(known[name], sent) for name in dict.fromkeys(sent.take)]
    if any(proposal.treats for proposal in chosen) and sent.offer is None and sent.other is None:
        raise FollowupError(
            "look.medicine",
            say("a pressure medicine is to be added, and none is chosen"),
            where=say("pressure medicine"),
            fix=say("choose the medicine and its days, or follow no proposal and say why"),
        )
    offer = (sent.offer.medicine, sent.offer.days) if sent.offer else None
    taken = accept(chosen, by=by, reason=sent.reason, offer=offer)
    return (*taken, _other(outcome, sent.other, sent.reason, by)) if sent.other else taken


def _other(outcome: Outcome, other: Other, reason: str, by: str) -> CourseAdded:
    return CourseAdded(
        eye=outcome.eye,
        medicine=other.medicine,
        starts=outcome.date,
        steps=((other.times_a_day, other.days),),
        reason=reason,
        by=by,
    )


def _edited(proposal: Proposal, sent: Choice) -> Proposal:
    steps = {one.adjustment: one.steps for one in sent.steps if one.proposal == proposal.id}
    changed = tuple(
        adjustment.model_copy(update={"steps": tuple((one.times_a_day, one.days) for one in steps[i])})
        if i in steps and isinstance(adjustment, CourseEdit | CourseAdded)
        else adjustment
        for i, adjustment in enumerate(proposal.adjustments)
    )
    return proposal.model_copy(update={"adjustments": changed})
