"""Plans: those that wait, one with its reasons and questions, answers, steps, signatures."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Annotated

from fastapi import Path

from followup.care.fields.shape import Field as FormField
from followup.care.fields.shape import Member
from followup.care.plans.answers import Answers, asked_once, give_answers
from followup.care.plans.deciding import Decision, DecisionBack, decide, undecide
from followup.care.plans.plan_view import load, untreated, view_of
from followup.care.plans.plans import Ending, base_of, end_one, make_again, two_versions
from followup.care.plans.signing import Several, Signing, is_stale, needs_reason, sign_one, sign_several
from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import CarePlan, Question
from followup.clinical.record import Eye
from followup.desks.api.base import Given, PlanId, router_of
from followup.desks.api.people import Person, PlanLine, SheetLine, person_of, plan_line, sheet_line
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.effect import PlanWords, side_by_side
from followup.desks.surgeon.at_a_glance import GlancePart, at_a_glance
from followup.desks.surgeon.plans import changes_of
from followup.desks.surgeon.waiting import waiting_plans
from followup.records.people.patients import newest_record, patient
from followup.records.plans.plans import active_plan, plan, plans_of
from followup.records.plans.sheets import sheets_of

router = router_of("Plans")


class AnswerPart(Given):
    """A field that answers a question, under the name to answer it by.

    Whether a look was done is answered by the day, one of ``choices`` or another under ``name.on``, or "not
    done". ``kind`` is "group" where ``members`` hold the fields; ``many``: below ``name.0``, ``name.1``...
    """

    name: str
    kind: str
    many: bool
    choices: list[str]
    members: list[AnswerPart]


class Asked(Given):
    """An open question and what can be answered here."""

    question: Question
    fields: list[AnswerPart]


class UntreatedOut(Given):
    """An eye whose last measured pressure is high while the plan holds no pressure medicine for it."""

    eye: Eye
    mmhg: float
    day: date


class GlanceOut(Given):
    """A line of who and why, in the staff's language: diagnosis, operation, allergies, illnesses..."""

    title: str
    told: list[str]


class PlanOut(Given):
    """A plan whole. ``body`` holds every line with its reasons; ``edits`` are the surgeon's changes in it.

    ``stale``: it must be made again before it is signed. ``newest`` and ``in_force`` are plan ids;
    ``changes`` says what a draft does against the plan in force, or the version before it.
    """

    about: PlanLine
    patient: Person
    body: CarePlan
    edits: list[Adjustment]
    asked: list[Asked]
    record_number: int
    stale: bool
    needs_reason: bool
    newest: int
    in_force: int | None
    changes: list[str]
    untreated: list[UntreatedOut]
    glance: list[GlanceOut]
    sheets: list[SheetLine]


class WaitingOut(Given):
    """A plan that waits; ``together``: nothing about it needs a look of its own before it is signed."""

    plan: PlanLine
    patient: Person
    together: bool
    glance: list[GlanceOut]
    untreated: list[UntreatedOut]


class NotSigned(Given):
    plan: int
    why: str


class SignedOut(Given):
    signed: int
    not_signed: list[NotSigned]


class Differs(Given):
    """One difference between two versions."""

    text: str
    was: str
    now: str


@router.get("/plans/waiting")
def waiting(hand: AnyHand) -> list[WaitingOut]:
    """Plans that wait for a signature, those that can be signed at once first."""
    return [
        WaitingOut(
            plan=plan_line(line.plan),
            patient=person_of(line.who, hand.today),
            together=line.together,
            glance=_glance(line.glance),
            untreated=[UntreatedOut.model_validate(one) for one in line.untreated],
        )
        for line in waiting_plans(hand).lines
    ]


@router.post("/plans/sign")
def sign_together(hand: AnyHand, sent: Several) -> SignedOut:
    """Sign several plans, with the password once more."""
    done, failed = sign_several(hand, sent)
    return SignedOut(signed=done, not_signed=[NotSigned(plan=number, why=why) for number, why in failed])


@router.get("/plans/{plan}")
def whole(hand: AnyHand, plan_id: PlanId) -> PlanOut:
    """One version of a plan with its reasons and questions."""
    return whole_plan(hand, plan_id)


@router.post("/plans/{plan}/again")
def again(hand: AnyHand, plan_id: PlanId) -> PlanOut:
    """Make the plan again from the newest record, protocol, calendar and day."""
    return whole_plan(hand, make_again(hand, plan_id).id)


@router.post("/plans/{plan}/answers")
def answer(hand: AnyHand, plan_id: PlanId, sent: Answers) -> PlanOut:
    """Answer questions: the record's next version, and the plan made again from it."""
    return whole_plan(hand, give_answers(hand, load(hand, plan_id), sent).id)


@router.post("/plans/{plan}/decisions")
def decide_look(hand: AnyHand, plan_id: PlanId, sent: Decision) -> PlanOut:
    """Decide a look that no offered day can see, or that another clinic sees; the plan is made again."""
    return whole_plan(hand, decide(hand, load(hand, plan_id), sent).id)


@router.post("/plans/{plan}/decisions/take-back")
def take_decision_back(hand: AnyHand, plan_id: PlanId, sent: DecisionBack) -> PlanOut:
    """Take a decision back; the plan is made again without it."""
    return whole_plan(hand, undecide(hand, load(hand, plan_id), sent).id)


@router.post("/plans/{plan}/sign")
def sign(hand: AnyHand, plan_id: PlanId, sent: Signing) -> PlanOut:
    """Sign a plan, with the password once more. Sent twice it signs once."""
    sign_one(hand, load(hand, plan_id), sent)
    return whole_plan(hand, plan_id)


@router.post("/plans/{plan}/end")
def end(hand: AnyHand, plan_id: PlanId, sent: Ending) -> PlanOut:
    """End a plan in force; its open visits are cancelled. Sent twice it ends once."""
    end_one(hand, load(hand, plan_id), sent)
    return whole_plan(hand, plan_id)


@router.get("/plans/{plan}/against/{other}")
def against(
    hand: AnyHand, plan_id: PlanId, other: Annotated[int, Path(ge=1, le=999_999_999)]
) -> list[Differs]:
    """What a version changes of another one of the same patient."""
    new, old, _ = two_versions(hand, plan_id, other)
    words = PlanWords(hand.texts, hand.protocol)
    return [Differs.model_validate(one) for one in side_by_side(old.body, new.body, words)]


def whole_plan(hand: DeskHand, plan_id: int) -> PlanOut:
    """A version of a plan as a program is given it."""
    with hand.store.read() as session:
        view = view_of(session, hand, plan(session, plan_id))
        who = patient(session, view.version.patient_id)
        record = newest_record(session, who.id).record
        versions, in_force = plans_of(session, who.id), active_plan(session, who.id)
        sheets = [sheet_line(s) for s in sheets_of(session, who.id) if s.plan_id == plan_id]
    return PlanOut(
        about=plan_line(view.version),
        patient=person_of(who, hand.today),
        body=view.plan,
        edits=list(view.version.edits),
        asked=[
            Asked(question=question, fields=[_part(f.name, f.member) for f in fields])
            for question, fields in asked_once(view.questions, record, hand.today, view.plan.needs)
        ],
        record_number=who.record_number,
        stale=is_stale(hand, view, who.record_number),
        needs_reason=needs_reason(hand, view),
        newest=versions[0].id,
        in_force=in_force.id if in_force else None,
        changes=list(changes_of(hand, view, base_of(view.version, in_force, versions))),
        untreated=[UntreatedOut.model_validate(one) for one in untreated(view, record)],
        glance=_glance(at_a_glance(view, hand.texts)),
        sheets=sheets,
    )


def _glance(parts: Iterable[GlancePart]) -> list[GlanceOut]:
    return [GlanceOut(title=part.title, told=[thing.text for thing in part.told]) for part in parts]


def _part(name: str, member: Member) -> AnswerPart:
    if isinstance(member, FormField):
        return AnswerPart(name=name, kind=member.kind, many=False, choices=list(member.choices), members=[])
    members = [_part(one.name, one) for one in member.members]
    return AnswerPart(name=name, kind="group", many=member.many, choices=[], members=members)
