"""The manager's desk: visits expected against capacity, who was followed up, how well they see."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from functools import partial
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from followup.care.fields.checked import check
from followup.care.fields.values import read_form
from followup.care.house.first_steps import first_steps
from followup.care.house.followed import FEW, RESULTS, followed
from followup.clinical.protocol.protocol import Protocol, Routine
from followup.clinical.record import Record
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.permissions import may
from followup.desks.forms.layout import routine_answers
from followup.desks.page.pages import show
from followup.drawings.outcomes import build_chart
from followup.language.dates import short_weekday, weekday
from followup.recall.jobs.attendance import Attendance
from followup.recall.jobs.forecast import (
    Coming,
    DayLoad,
    ExpectedPerson,
    attendance,
    expected_people,
    expected_visits,
    load_of_days,
    one_more_day,
    with_arrivals,
)
from followup.records.trips.trips import missed_trips
from followup.timing.calendar import Calendar, every_day

router = APIRouter()
WEEKS = 8
WEEK = timedelta(days=6)
ROUTINE_AGE = 70


@router.get("/forecast")
def forecast(
    request: Request,
    hand: AnyHand,
    day: date | None = None,
    more: Annotated[int | None, Query(ge=0, le=6)] = None,
    operations: Annotated[int, Query(ge=1, le=99)] = 1,
) -> Response:
    """Eight weeks as one calendar; ``day`` opens the people of that day under it, ``more`` says what
    ``operations`` on one more weekday (0: Monday) would do."""
    days, coming, past = _ahead(hand)
    shown = next((one for one in days if one.day == day), None)
    with hand.store.read() as session:
        missed = len(missed_trips(session, hand.today))
    language = hand.texts.translator.language
    monday = days[0].day - timedelta(days=days[0].day.weekday())
    return show(
        request,
        "forecast.html",
        weeks=_weeks(days),
        heads=[
            (weekday(one, language), short_weekday(one, language)) for one in every_day(monday, monday + WEEK)
        ],
        over=[day for day in days if day.over],
        likely_over=[day.day for day in days if day.likely_over and not day.over],
        missed=missed,
        past=past,
        extra=None if more is None else one_more_day(days, coming, (more, operations), *_routine(hand)),
        asked={"more": more, "operations": operations},
        shown=shown,
        steps=first_steps(hand),
        people=people_of(hand, shown.day) if shown else (),
    )


def _weeks(days: Sequence[DayLoad]) -> list[list[DayLoad | None]]:
    """Rows from Monday to Sunday; None stands for a day before the first or after the last."""
    cells: list[DayLoad | None] = [None] * days[0].day.weekday() + list(days)
    cells += [None] * (-len(cells) % 7)
    return [cells[i : i + 7] for i in range(0, len(cells), 7)]


def days_ahead(hand: DeskHand) -> tuple[DayLoad, ...]:
    """Eight weeks from today on, day by day."""
    return _ahead(hand)[0]


def _ahead(hand: DeskHand) -> tuple[tuple[DayLoad, ...], list[Coming], Attendance]:
    """The days, the visits that they were counted from, and what the past says of who comes."""
    with hand.store.read() as session:
        coming = expected_visits(session, hand.today, 7 * WEEKS, *_routine(hand))
        past = attendance(session, hand.today)
    loads = load_of_days(coming, hand.today, 7 * WEEKS, hand.calendar)
    return with_arrivals(loads, coming, past), coming, past


def _routine(hand: DeskHand) -> tuple[Calendar, Protocol, Callable[[date], Record]]:
    """By what the visits after an operation of which nothing but its day is known are counted."""
    return hand.calendar, hand.protocol, partial(routine_record, hand.protocol.routine)


def is_ahead(hand: DeskHand, day: date) -> bool:
    """Whether the forecast reaches this day."""
    return hand.today <= day < hand.today + timedelta(weeks=WEEKS)


def people_of(hand: DeskHand, day: date) -> tuple[ExpectedPerson, ...]:
    """Whom the forecast counts on one of its days, by name."""
    with hand.store.read() as session:
        return expected_people(session, hand.today, day, *_routine(hand))


def routine_record(routine: Routine, operated: date) -> Record:
    """An operation of which nothing but its day is known, as the record's form starts: uneventful."""
    answers = routine_answers(routine, 0, operated.isoformat()) | {
        "patient.code": ["ROUTINE"],
        "patient.name": ["Routine"],
        "patient.birth_year": [str(operated.year - ROUTINE_AGE)],
        "operations.0.cut_mm": ["2.4"],
        "operations.0.viscoelastic.removed": ["all"],
        "operations.0.antibiotic_in_chamber": ["yes"],
        "operations.0.eye": ["right"],
        "operations.0.eye_drawn": ["right"],
    }
    return check(read_form(answers))


@router.get("/outcomes")
def outcomes(
    request: Request,
    hand: AnyHand,
    result: str = "",
    month: str = "",
    risk: str = "",
    band: str = "",
) -> Response:
    """Figures of six months; what is asked for opens the people behind one of them."""
    found = followed(hand)
    visits = [
        one
        for one in found.visits
        if result in ("", one.result) and month in ("", f"{one.month:%Y-%m}") and risk in ("", one.tier)
    ]
    return show(
        request,
        "outcomes.html",
        found=found,
        results=RESULTS,
        few=FEW,
        chart=build_chart([(one.in_time, one.late, one.never) for one in found.months], hand.texts.runs_left),
        asked={"result": result, "month": month, "risk": risk, "band": band},
        visits=visits if result or month or risk else (),
        eyes=[eye for eye in found.eyes if eye.band == band],
        opens=may(hand.roles, "GET", "/patients/{code}"),
        source=hand.protocol.vision_bands.source,
        early=hand.protocol.early_vision.days,
    )
