"""Whom a surgeon must look after today, and what only the surgeon says of a patient."""

from __future__ import annotations

from followup.care.looks.overview import overview
from followup.care.reach.standing import Standing, say_standing
from followup.clinical.record import Findings
from followup.desks.api.base import Code, Given, router_of
from followup.desks.api.danger import AlertOut, alert_out
from followup.desks.api.people import Person, VisitOut, person_of, visit_out
from followup.desks.door.hand import AnyHand
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
    """Eyes in danger first; who is here and waits for a look; who left without findings; inflamed eyes of
    the week, worst first; my own overdue patients; decisions that wait for me.
    """

    danger: list[AlertOut]
    here: list[VisitOut]
    left: list[VisitOut]
    inflamed: list[InflamedOut]
    overdue: list[MineOut]
    decide: list[DecideOut]


@router.get("/my-patients")
def my_patients(hand: AnyHand) -> MyPatients:
    """Whom the surgeon must look after today."""
    found, words, today = overview(hand), hand.texts.translator, hand.today
    return MyPatients(
        danger=[alert_out(hand, one) for one in found.danger],
        here=[visit_out(line, today) for line in found.here],
        left=[visit_out(line, today) for line in found.left],
        inflamed=[InflamedOut.of(one, patient=person_of(one.who, today)) for one in found.inflamed],
        overdue=[
            MineOut.of(line, patient=person_of(line.patient, today), why=reason(line, words))
            for line in found.mine
        ],
        decide=[
            DecideOut.of(item, patient=person_of(item.line.patient, today), why=reason(item.line, words))
            for item in found.decide
        ],
    )


@router.post("/patients/{code}/standing", status_code=204)
def standing(hand: AnyHand, code: Code, sent: Standing) -> None:
    """Say that a patient is lost to follow-up, has refused, or is followed again."""
    say_standing(hand, code, sent)
