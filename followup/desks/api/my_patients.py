"""Whom a surgeon must look after today, and what only the surgeon says of a patient."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from followup.clinical.record import Findings
from followup.desks.api.base import Code, Given, Line, Sent, router_of
from followup.desks.api.danger import AlertOut, alert_out
from followup.desks.api.people import Person, VisitOut, person_of, visit_out
from followup.desks.door.hand import AnyHand
from followup.desks.surgeon.my_patients import overview, say_standing
from followup.recall.reach.worklist import reason

router = router_of("Eyes")


class InflamedOut(Given):
    """An eye above what is expected at its last look of the week; ``day`` counts from surgery."""

    patient: Person
    look: Findings
    day: int


class MineOut(Given):
    patient: Person
    days: int
    why: str


class DecideOut(Given):
    """A patient about whom only the surgeon can decide; ``may_be_lost``: the rule allows to say so."""

    patient: Person
    cause: str
    why: str
    may_be_lost: bool


class MyPatients(Given):
    """Eyes in danger first; who left without findings; inflamed eyes of the week, worst first; my own
    overdue patients; decisions that wait for me.
    """

    danger: list[AlertOut]
    left: list[VisitOut]
    inflamed: list[InflamedOut]
    overdue: list[MineOut]
    decide: list[DecideOut]


class Standing(Sent):
    """What the surgeon says of a patient."""

    standing: Literal["followed", "refused", "moved away", "died", "lost to follow-up"]
    reason: Annotated[Line, Field(min_length=1)]


@router.get("/my-patients")
def my_patients(hand: AnyHand) -> MyPatients:
    """Whom the surgeon must look after today."""
    found, words, today = overview(hand), hand.texts.translator, hand.today
    return MyPatients(
        danger=[alert_out(hand, one) for one in found.danger],
        left=[visit_out(line, today) for line in found.left],
        inflamed=[
            InflamedOut(patient=person_of(one.who, today), look=one.look, day=one.day)
            for one in found.inflamed
        ],
        overdue=[
            MineOut(patient=person_of(line.patient, today), days=line.days, why=reason(line, words))
            for line in found.mine
        ],
        decide=[
            DecideOut(
                patient=person_of(item.line.patient, today),
                cause=item.cause,
                why=reason(item.line, words),
                may_be_lost=item.may_be_lost,
            )
            for item in found.decide
        ],
    )


@router.post("/patients/{code}/standing", status_code=204)
def standing(hand: AnyHand, code: Code, sent: Standing) -> None:
    """Say that a patient is lost to follow-up, has refused, or is followed again."""
    say_standing(hand, code, standing=sent.standing, reason=sent.reason)
