"""Bottles to hand out, visits ahead against places, who was followed up and how well they see."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Literal

from fastapi import Query, Response

from followup.care.house.auditing import audit_of, told_audit
from followup.care.house.followed import followed
from followup.care.house.shelf import Counts, shelf, store_counts
from followup.care.sheets.giving import (
    BottlesGiven,
    WaitingPerson,
    WronglyGiven,
    give,
    labels,
    take_given_back,
    window,
)
from followup.clinical.protocol.formulary import label_of
from followup.clinical.record import Eye
from followup.desks.api.base import Code, Given, router_of
from followup.desks.api.operations import PDF
from followup.desks.api.people import Person, person_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.manager.bottles import given_today
from followup.desks.manager.figures import days_ahead, is_ahead, people_of
from followup.desks.page.pages import pdf_answer
from followup.errors import FollowupError
from followup.said import say
from followup.sheets.paper.labels_pdf import A_SHEET, labels_pdf

router = router_of("Pharmacy and manager")


class MedicineOut(Given):
    """Bottles of one medicine to hand out; ``missing``: what the week needs beyond the last count."""

    medicine: str
    name: str
    today: int
    week: int
    counted: int | None
    counted_at: datetime | None
    missing: int | None


class HandOut(Given):
    """One bottle that one person takes home today."""

    patient: Person
    name: str
    eye: Eye | None
    number: int


class BottleWaiting(Given):
    """One bottle of somebody who waits; ``key`` names it when it is given. ``since``: the day it goes out."""

    key: str
    name: str
    eye: Eye | None
    number: int
    since: date


class WaitingOut(Given):
    """Somebody with a signed plan, and the bottles of it."""

    patient: Person
    plan: int
    bottles: list[BottleWaiting]


class GivenToday(Given):
    """What was marked as given today of the patient ``code``; ``entry`` takes it back."""

    code: str
    entry: int
    at: datetime
    by: str


class WindowOut(Given):
    """Who waits today, who was to be given something in the week before, who was given theirs today."""

    noted: list[GivenToday]

    today: list[WaitingOut]
    before: list[WaitingOut]
    given: list[WaitingOut]


class ShelfOut(Given):
    """The week up to ``until`` by medicine, and today by person."""

    medicines: list[MedicineOut]
    today: list[HandOut]
    until: date


class ServiceAhead(Given):
    """One service on one day. Places in all: null where there is no limit, 0 where it is not offered."""

    service: str
    expected: int
    places: int | None
    over: bool


class ArrivalsOut(Given):
    """How many are likely to come: the mean, and the range that 80 of 100 days keep to."""

    mean: float
    low: int
    high: int


class DayAhead(Given):
    """A day: people from plans, people after operations without a plan, and its services; how many are likely
    to come, null where the clinic's past is too short to say so."""

    day: date
    open: bool
    half: bool
    visits: int
    after_operations: int
    services: tuple[ServiceAhead, ...]
    over: bool
    arrivals: ArrivalsOut | None


class ExpectedOut(Given):
    """Somebody whom the forecast counts on a day, and by what: a plan, a draft, an operation without one."""

    code: str
    name: str
    services: tuple[str, ...]
    by: Literal["plan", "draft", "operation"]


class TierOut(Given):
    """Visits of one tier whose last day has passed: seen by then, seen later, not seen."""

    tier: Literal["A", "B", "C"]
    in_time: int
    late: int
    never: int


class MonthOut(Given):
    """Visits whose last day lay in the month that begins on ``month``. ``percent`` in time: null of a few."""

    month: date
    in_time: int
    late: int
    never: int
    percent: int | None


class FollowedOut(Given):
    """One visit of the figures, and whose it was."""

    code: str
    name: str
    tier: Literal["A", "B", "C"]
    result: Literal["in time", "late", "never"]
    last: date
    seen: date | None


class SeenEyeOut(Given):
    """One eye of the figures with its last vision."""

    code: str
    name: str
    eye: Eye
    day: date
    vision: str
    band: str


class AuditFigure(Given):
    """One figure of the audit. ``count`` of ``total``, in percent with its interval from ``low`` to ``high``;
    null where it is masked, as ``masked`` tells, or is none. ``value`` is in ``unit``."""

    table: str
    group: str
    measure: str
    count: int | None
    total: int | None
    percent: float | None
    low: float | None
    high: float | None
    value: float | None
    unit: str
    masked: str


class OutcomesOut(Given):
    """Six months since a day; ``bands`` counts eyes by when and how well they see, after ``source``."""

    since: date
    months: list[MonthOut]
    tiers: list[TierOut]
    bands: dict[str, int]
    source: str
    visits: list[FollowedOut]
    eyes: list[SeenEyeOut]


@router.get("/bottles")
def bottles(hand: AnyHand) -> ShelfOut:
    """Bottles to hand out today and this week, against the last count."""
    return _shelf(hand)


@router.post("/bottles/counts")
def count(hand: AnyHand, sent: Counts) -> ShelfOut:
    """Store what was counted on the shelf."""
    store_counts(hand, sent)
    return _shelf(hand)


@router.get("/bottles/waiting")
def waiting(hand: AnyHand) -> WindowOut:
    """Who waits for bottles, by name."""
    found = window(hand)
    return WindowOut(
        noted=[GivenToday.of(step) for step in given_today(hand)],
        today=[_waiting(hand, one) for one in found.today],
        before=[_waiting(hand, one) for one in found.before],
        given=[_waiting(hand, one) for one in found.given],
    )


@router.post("/bottles/{code}/given", status_code=204)
def given(hand: AnyHand, code: Code, sent: BottlesGiven) -> None:
    """Bottles of the plan in force are in this person's hands; what was given before stays as it is."""
    give(hand, code, sent)


@router.post("/bottles/{code}/take-back", status_code=204)
def take_back_given(hand: AnyHand, code: Code, sent: WronglyGiven) -> None:
    """Take back what was marked as given today, by its entry in the journal."""
    take_given_back(hand, code, sent)


@router.get("/bottles/labels.pdf", response_class=Response, responses=PDF)
def bottle_labels(
    hand: AnyHand,
    code: Annotated[str, Query(max_length=120)] = "",
    start: Annotated[int, Query(ge=1, le=A_SHEET)] = 1,
    single: bool = False,
) -> Response:
    """Labels of one person, or of everybody who waits: single, or from place ``start`` of a sheet of 24."""
    found = labels(hand, code)
    return pdf_answer(
        labels_pdf(found, hand.today, start=None if single else start), f"labels {code}".strip()
    )


@router.get("/forecast")
def forecast(hand: AnyHand) -> list[DayAhead]:
    """Visits expected on each day of the next eight weeks."""
    return [DayAhead.model_validate(day) for day in days_ahead(hand)]


@router.get("/forecast/people")
def people_of_the_forecast(hand: AnyHand, day: date) -> list[ExpectedOut]:
    """Whom the forecast counts on one of its days."""
    if not is_ahead(hand, day):
        raise FollowupError(
            "forecast.day",
            say("the forecast does not reach this day"),
            fix=say("ask for a day of the forecast"),
        )
    return [
        ExpectedOut(code=one.who.code, name=one.who.name, services=one.who.services, by=one.by)
        for one in people_of(hand, day)
    ]


@router.get("/outcomes")
def outcomes(hand: AnyHand) -> OutcomesOut:
    """Who was followed up in the last six months, and how well they see; every figure with its people."""
    found = followed(hand)
    return OutcomesOut(
        since=found.since,
        months=[MonthOut.of(one, month=one.of) for one in found.months],
        tiers=[TierOut.of(one, tier=one.of) for one in found.tiers],
        bands=found.bands,
        source=hand.protocol.vision_bands.source,
        visits=[FollowedOut.of(one, code=one.who.code, name=one.who.name) for one in found.visits],
        eyes=[SeenEyeOut.of(one, code=one.who.code, name=one.who.name) for one in found.eyes],
    )


@router.get("/outcomes/audit")
def outcome_audit(hand: AnyHand, begin: date | None = None, end: date | None = None) -> list[AuditFigure]:
    """The outcome audit of operations and visits from ``begin`` to ``end``, usually of six months: its
    dictionary, its conventions, what it can't say, then every figure, small numbers masked."""
    return [AuditFigure.of(row) for row in told_audit(hand, audit_of(hand, begin, end)).rows]


def _waiting(hand: DeskHand, one: WaitingPerson) -> WaitingOut:
    formulary = hand.protocol.formulary
    return WaitingOut(
        patient=person_of(one.who, hand.today),
        plan=one.plan_id,
        bottles=[
            BottleWaiting(
                key=each.key,
                name=label_of(each.course.medicine, formulary),
                eye=each.course.eye,
                number=each.bottle.number,
                since=each.bottle.handed_over,
            )
            for each in one.bottles
        ],
    )


def _shelf(hand: DeskHand) -> ShelfOut:
    found = shelf(hand)
    return ShelfOut(
        medicines=[
            MedicineOut.of(
                line,
                counted=line.counted.bottles if line.counted else None,
                counted_at=line.counted.at if line.counted else None,
            )
            for line in found.lines
        ],
        today=[HandOut.of(one, patient=person_of(one.who, hand.today)) for one in found.out],
        until=found.until,
    )
