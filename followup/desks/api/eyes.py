"""An eye: what was seen of it, what that leads to, what the surgeon decides; and whom to look after."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import Path
from pydantic import Field

from followup.care.adjusting import MOST_A_DAY, MOST_STEPS, steps_text
from followup.clinical.careplan import Course, CourseState
from followup.clinical.record import Findings
from followup.clinical.review.proposal import Outcome
from followup.desks.api.base import Code, Day, Given, Line, Number, OneEye, Sent, router_of
from followup.desks.api.people import Person, VisitOut, person_of, visit_out
from followup.desks.api.steps import Effect
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.posted import Posted
from followup.desks.surgeon.eye import eye_case, store_findings
from followup.desks.surgeon.looks import (
    MOST_OFFER_DAYS,
    effect_of_choice,
    look_of,
    outcome_of,
    outcome_of_today,
    refuse_all,
    store_choice,
)
from followup.errors import FollowupError

router = router_of("Eyes")
Eye = Annotated[OneEye, Path(alias="eye")]
On = Annotated[Day, Path(alias="on")]


class NotTakenOut(Given):
    """A course by its key that is held or stopped, and why."""

    course: str
    state: CourseState
    why: list[str]


class EyeOut(Given):
    """One eye: ``looks`` newest first, ``courses`` of the plan in force, ``visits`` that are for it.

    ``taken_now`` are the keys of the courses that are given today; ``not_taken`` those held or stopped.

    ``seen`` is the version of the record, ``plan_number`` that of the newest plan.
    """

    patient: Person
    eye: OneEye
    operated: list[date]
    looks: list[Findings]
    courses: list[Course]
    taken_now: list[str]
    not_taken: list[NotTakenOut]
    visits: list[VisitOut]
    seen: int
    plan_number: int


class Looked(Sent):
    """What was seen today: eye and date must be those of the address and of today.

    ``seen`` is the version of the record looked at; a second look of the day replaces the first.
    """

    seen: Number
    look: Findings


class LookOut(Given):
    """A look and what it leads to; ``refused`` says why nothing can be proposed."""

    look: Findings
    outcome: Outcome | None
    refused: str
    plan_number: int


class StepSent(Sent):
    """A count of 0 leaves the days out."""

    times_a_day: Annotated[int, Field(strict=True, ge=0, le=MOST_A_DAY)]
    days: Annotated[int, Field(strict=True, ge=1, le=999)]


class OtherSteps(Sent):
    """Other steps for one adjustment (counted from 0) of a proposal; none end the course."""

    proposal: Annotated[Line, Field(min_length=1)]
    adjustment: Annotated[int, Field(strict=True, ge=0, le=100)]
    steps: Annotated[list[StepSent], Field(max_length=MOST_STEPS)]


class Offered(Sent):
    """A pressure medicine that a proposal offers."""

    medicine: Annotated[Line, Field(min_length=1)]
    days: Annotated[int, Field(strict=True, ge=1, le=MOST_OFFER_DAYS)]


class Other(Sent):
    """A pressure medicine outside the list, with its dose."""

    medicine: Annotated[Line, Field(min_length=1)]
    times_a_day: Annotated[int, Field(strict=True, ge=1, le=MOST_A_DAY)]
    days: Annotated[int, Field(strict=True, ge=1, le=MOST_OFFER_DAYS)]


class Choice(Sent):
    """The proposals that are followed. ``seen`` is the number of the newest plan looked at."""

    take: Annotated[list[Annotated[Line, Field(min_length=1)]], Field(min_length=1, max_length=20)]
    reason: Annotated[Line, Field(min_length=1)]
    seen: Number
    steps: Annotated[tuple[OtherSteps, ...], Field(max_length=40)] = ()
    offer: Offered | None = None
    other: Other | None = None


class Refusal(Sent):
    reason: Annotated[Line, Field(min_length=1)]


class Drafted(Given):
    """The draft that waits for a signature."""

    plan: int


@router.get("/patients/{code}/eyes/{eye}")
def one_eye(hand: AnyHand, code: Code, eye: Eye) -> EyeOut:
    """An operated eye with what was seen of it and what is due."""
    case = eye_case(hand, code, eye)
    return EyeOut(
        patient=person_of(case.who, hand.today),
        eye=eye,
        operated=list(case.operated),
        looks=list(case.looks),
        courses=list(case.courses()),
        taken_now=[course.key for course in case.taken(hand.today)],
        not_taken=[
            NotTakenOut(course=item.course.key, state=item.course.state, why=list(item.why))
            for item in case.not_taken(hand.today)
        ],
        visits=[visit_out(line, hand.today) for line in case.lines],
        seen=case.version.number,
        plan_number=case.plans[0].number if case.plans else 0,
    )


@router.post("/patients/{code}/eyes/{eye}/findings")
def enter(hand: AnyHand, code: Code, eye: Eye, sent: Looked) -> LookOut:
    """Store what was seen today, and say what it leads to."""
    case = eye_case(hand, code, eye)
    if (sent.look.eye, sent.look.date) != (eye, hand.today):
        raise FollowupError(
            "findings.eye",
            "eye and date are not those of the address and of today",
            where="look",
            fix="look at the eye again, then correct whichever is wrong",
        )
    look = sent.look.model_dump(mode="json", exclude_none=True, exclude={"eye", "date", "by"})
    store_findings(hand, case, look, seen=sent.seen)
    return _look(hand, code, eye, hand.today)


@router.get("/patients/{code}/eyes/{eye}/looks/{on}")
def look(hand: AnyHand, code: Code, eye: Eye, on: On) -> LookOut:
    """A look and its proposals, with reasons."""
    return _look(hand, code, eye, on)


@router.post("/patients/{code}/eyes/{eye}/looks/{on}/effect")
def effect_of(hand: AnyHand, code: Code, eye: Eye, on: On, sent: Choice) -> Effect:
    """What the chosen proposals would do."""
    case = eye_case(hand, code, eye)
    outcome = outcome_of_today(hand, case, look_of(case, on))
    return Effect(sentences=list(effect_of_choice(hand, case, outcome, _posted(sent))))


@router.post("/patients/{code}/eyes/{eye}/looks/{on}/take")
def take(hand: AnyHand, code: Code, eye: Eye, on: On, sent: Choice) -> Drafted:
    """Follow the chosen proposals: a draft that waits for the signature."""
    case = eye_case(hand, code, eye)
    outcome = outcome_of_today(hand, case, look_of(case, on))
    return Drafted(plan=store_choice(hand, case, outcome, _posted(sent)))


@router.post("/patients/{code}/eyes/{eye}/looks/{on}/refuse", status_code=204)
def refuse(hand: AnyHand, code: Code, eye: Eye, on: On, sent: Refusal) -> None:
    """Note that no proposal is followed, and why."""
    case = eye_case(hand, code, eye)
    refuse_all(hand, case, outcome_of_today(hand, case, look_of(case, on)), sent.reason)


def _look(hand: DeskHand, code: str, eye: OneEye, on: date) -> LookOut:
    case = eye_case(hand, code, eye)
    found, outcome, refused = look_of(case, on), None, ""
    try:
        outcome = outcome_of(hand, case, found)
    except FollowupError as exc:
        refused = exc.line
    number = case.plans[0].number if case.plans else 0
    return LookOut(look=found, outcome=outcome, refused=refused, plan_number=number)


def _posted(sent: Choice) -> Posted:
    """The choice as the page's form sends it."""
    form: Posted = {"take": list(sent.take), "reason": [sent.reason], "seen": [str(sent.seen)]}
    for other in sent.steps:
        pairs = [(step.times_a_day, step.days) for step in other.steps]
        form[f"steps.{other.proposal}.{other.adjustment}"] = [steps_text(pairs)]
    if sent.offer:
        form |= {"offer": [sent.offer.medicine], "offer_days": [str(sent.offer.days)]}
    if sent.other:
        form |= {
            "other": [sent.other.medicine],
            "other_count": [str(sent.other.times_a_day)],
            "other_days": [str(sent.other.days)],
        }
    return form
