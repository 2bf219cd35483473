"""The manager's desk: visits expected against capacity, who was followed up, how well they see."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from functools import partial

from fastapi import APIRouter, Request, Response

from followup.care.fields.checked import check
from followup.care.fields.values import read_form
from followup.care.house.first_steps import first_steps
from followup.care.house.followed import FEW, RESULTS, followed
from followup.clinical.protocol.protocol import Routine
from followup.clinical.record import Record
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.permissions import may
from followup.desks.forms.layout import routine_answers
from followup.desks.page.pages import show
from followup.drawings.outcomes import build_chart
from followup.language.dates import short_weekday, weekday
from followup.recall.jobs.forecast import DayLoad, ExpectedPerson, expected_people
from followup.recall.jobs.forecast import forecast as load_ahead
from followup.records.trips.trips import missed_trips
from followup.timing.calendar import every_day

router = APIRouter()
WEEKS = 8
WEEK = timedelta(days=6)
ROUTINE_AGE = 70


@router.get("/forecast")
def forecast(request: Request, hand: AnyHand, day: date | None = None) -> Response:
    """Eight weeks as one calendar; ``day`` opens the people of that day under it."""
    days = days_ahead(hand)
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
        missed=missed,
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
    with hand.store.read() as session:
        usual = partial(routine_record, hand.protocol.routine)
        return load_ahead(session, hand.today, 7 * WEEKS, hand.calendar, hand.protocol, usual)


def is_ahead(hand: DeskHand, day: date) -> bool:
    """Whether the forecast reaches this day."""
    return hand.today <= day < hand.today + timedelta(weeks=WEEKS)


def people_of(hand: DeskHand, day: date) -> tuple[ExpectedPerson, ...]:
    """Whom the forecast counts on one of its days, by name."""
    with hand.store.read() as session:
        usual = partial(routine_record, hand.protocol.routine)
        return expected_people(session, hand.today, day, hand.calendar, hand.protocol, usual)


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
