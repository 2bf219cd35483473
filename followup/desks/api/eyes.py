"""An eye: what was seen of it, what that leads to, what the surgeon decides; and whom to look after."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import Path

from followup.care.act import OneEye
from followup.care.looks.choosing import Choice, plans_of_choice, store_choice
from followup.care.looks.eye_case import EyeCase, eye_case
from followup.care.looks.eye_now import PressureStands, eye_now
from followup.care.looks.looks import (
    Looked,
    Refusal,
    go_on,
    led_to,
    look_of,
    outcome_of_today,
    refuse_all,
    store_findings,
)
from followup.clinical.careplan import Course
from followup.clinical.protocol.reviews import CellGrade
from followup.clinical.record import Findings
from followup.clinical.record.base import Day
from followup.clinical.review.proposal import Outcome
from followup.clinical.statuses import CourseState
from followup.desks.api.base import Code, Given, router_of
from followup.desks.api.people import Person, VisitOut, person_of, visit_out
from followup.desks.api.steps import Effect, effect_told
from followup.desks.door.hand import AnyHand, DeskHand

router = router_of("Eyes")
Eye = Annotated[OneEye, Path(alias="eye")]
On = Annotated[Day, Path(alias="on")]


class NotTakenOut(Given):
    """A course by its key that is held or stopped, and why."""

    course: str
    state: CourseState
    why: list[str]


class CellsOut(Given):
    """The cells last seen, on day ``on``, and the most that the protocol expects of that day.

    ``senior``: what that look saw asks for a senior the same day, however many cells are expected.
    """

    found: CellGrade
    expected: CellGrade
    on: date
    above: bool
    senior: bool


class PressureOut(Given):
    """The pressure last measured in mmHg, on day ``on``; ``rise``: above the one before surgery.

    ``stands`` as the protocol's own table has it.
    """

    mmhg: float
    rise: float | None
    stands: PressureStands
    on: date


class EyeOut(Given):
    """One eye: ``looks`` newest first, ``courses`` of the plan in force, ``visits`` that are for it.

    ``taken_now`` are the keys of the courses that are given today; ``not_taken`` those held or stopped.
    ``asked`` are the findings that a look today is asked for.

    ``seen`` is the version of the record, ``plan_number`` that of the newest plan.
    """

    patient: Person
    eye: OneEye
    operated: list[date]
    looks: list[Findings]
    courses: list[Course]
    taken_now: list[str]
    not_taken: list[NotTakenOut]
    cells: CellsOut | None
    pressure: PressureOut | None
    asked: list[str]
    visits: list[VisitOut]
    seen: int
    plan_number: int


class LookOut(Given):
    """A look and what it leads to; ``refused`` says why nothing can be proposed."""

    look: Findings
    outcome: Outcome | None
    refused: str
    plan_number: int


class Drafted(Given):
    """The draft that waits for a signature."""

    plan: int


@router.get("/patients/{code}/eyes/{eye}")
def one_eye(hand: AnyHand, code: Code, eye: Eye) -> EyeOut:
    """An operated eye with what was seen of it and what is due."""
    case = eye_case(hand, code, eye)
    now = eye_now(hand, case)
    return EyeOut.of(
        case,
        patient=person_of(case.who, hand.today),
        taken_now=[course.key for course in case.taken(hand.today)],
        not_taken=[
            NotTakenOut(course=item.course.key, state=item.course.state, why=list(item.why))
            for item in case.not_taken(hand.today)
        ],
        cells=CellsOut.of(now.cells) if now.cells else None,
        pressure=PressureOut.of(now.pressure) if now.pressure else None,
        asked=list(now.asked),
        visits=[visit_out(line, hand.today) for line in case.lines],
        seen=case.version.number,
    )


@router.post("/patients/{code}/eyes/{eye}/findings")
def enter(hand: AnyHand, code: Code, eye: Eye, sent: Looked) -> LookOut:
    """Store what was seen today, and say what it leads to."""
    store_findings(hand, eye_case(hand, code, eye), sent)
    return _look(hand, code, eye, hand.today)


@router.get("/patients/{code}/eyes/{eye}/looks/{on}")
def look(hand: AnyHand, code: Code, eye: Eye, on: On) -> LookOut:
    """A look and its proposals, with reasons."""
    return _look(hand, code, eye, on)


@router.post("/patients/{code}/eyes/{eye}/looks/{on}/effect")
def effect_of(hand: AnyHand, code: Code, eye: Eye, on: On, sent: Choice) -> Effect:
    """What the chosen proposals would do."""
    case, outcome = _of_today(hand, code, eye, on)
    return effect_told(hand, plans_of_choice(hand, case, outcome, sent))


@router.post("/patients/{code}/eyes/{eye}/looks/{on}/take")
def take(hand: AnyHand, code: Code, eye: Eye, on: On, sent: Choice) -> Drafted:
    """Follow the chosen proposals: a draft that waits for the signature."""
    case, outcome = _of_today(hand, code, eye, on)
    return Drafted(plan=store_choice(hand, case, outcome, sent))


@router.post("/patients/{code}/eyes/{eye}/looks/{on}/go-on", status_code=204)
def go_on_as_planned(hand: AnyHand, code: Code, eye: Eye, on: On) -> None:
    """Note that the plan goes on as it is, where nothing that is proposed would change it."""
    go_on(hand, *_of_today(hand, code, eye, on))


@router.post("/patients/{code}/eyes/{eye}/looks/{on}/refuse", status_code=204)
def refuse(hand: AnyHand, code: Code, eye: Eye, on: On, sent: Refusal) -> None:
    """Note that no proposal is followed, and why."""
    refuse_all(hand, *_of_today(hand, code, eye, on), sent)


def _of_today(hand: DeskHand, code: str, eye: OneEye, on: date) -> tuple[EyeCase, Outcome]:
    case = eye_case(hand, code, eye)
    return case, outcome_of_today(hand, case, look_of(case, on))


def _look(hand: DeskHand, code: str, eye: OneEye, on: date) -> LookOut:
    case = eye_case(hand, code, eye)
    found = look_of(case, on)
    outcome, refused = led_to(hand, case, found)
    return LookOut(look=found, outcome=outcome, refused=refused, plan_number=case.plan_number)
