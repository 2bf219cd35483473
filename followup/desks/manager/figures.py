"""The manager's desk: visits expected against capacity, who was followed up, how well they see."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial

from fastapi import APIRouter, Request, Response

from followup.care.fields.checked import check
from followup.care.fields.values import read_form
from followup.clinical.protocol.protocol import Protocol, Routine
from followup.clinical.record import Record
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.forms.layout import routine_answers
from followup.desks.page.pages import show
from followup.recall.jobs.forecast import DayLoad
from followup.recall.jobs.forecast import forecast as load_ahead
from followup.records.figures.followed import ClosedVisit, visits_with_closed_window
from followup.records.figures.recent import records_since
from followup.records.store.store import Session
from followup.records.trips.trips import missed_trips

router = APIRouter()
WEEKS = 8
ROUTINE_AGE = 70
QUARTER = timedelta(days=91)


@dataclass(frozen=True)
class Completeness:
    """Visits of one tier whose last day has passed: seen by then, seen later, not seen."""

    tier: str
    in_time: int
    late: int
    never: int

    @property
    def all(self) -> int:
        return self.in_time + self.late + self.never


@router.get("/forecast")
def forecast(request: Request, hand: AnyHand) -> Response:
    days = days_ahead(hand)
    with hand.store.read() as session:
        missed = len(missed_trips(session, hand.today))
    return show(
        request,
        "forecast.html",
        weeks=[days[i : i + 7] for i in range(0, len(days), 7)],
        most=max(day.expected for day in days),
        over=[day for day in days if day.over],
        missed=missed,
    )


def days_ahead(hand: DeskHand) -> tuple[DayLoad, ...]:
    """Eight weeks from today on, day by day."""
    with hand.store.read() as session:
        usual = partial(routine_record, hand.protocol.routine)
        return load_ahead(session, hand.today, 7 * WEEKS, hand.calendar, hand.protocol, usual)


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
def outcomes(request: Request, hand: AnyHand) -> Response:
    found = followed(hand)
    return show(
        request,
        "outcomes.html",
        tiers=found.tiers,
        bands=found.bands,
        since=found.since,
        source=hand.protocol.vision_bands.source,
        early=hand.protocol.early_vision.days,
    )


@dataclass(frozen=True)
class Followed:
    """Since a day: who was seen of those whose last day passed, and eyes by band of their last vision."""

    since: date
    tiers: list[Completeness]
    bands: Counter[str]


def followed(hand: DeskHand) -> Followed:
    """The last quarter."""
    since = hand.today - QUARTER
    with hand.store.read() as session:
        closed = visits_with_closed_window(session, since, hand.today)
        tiers = [_completeness(tier, [c for c in closed if c.tier == tier]) for tier in ("A", "B", "C")]
        return Followed(since, tiers, _bands(session, hand, since))


def _completeness(tier: str, closed: Iterable[ClosedVisit]) -> Completeness:
    found = Counter(one.result for one in closed)
    return Completeness(tier, found["in time"], found["late"], found["never"])


def _bands(session: Session, hand: DeskHand, since: date) -> Counter[str]:
    """Eyes operated in the quarter before last or later, by the band of their last vision."""
    found: Counter[str] = Counter()
    for record in records_since(session, hand.now - QUARTER * 2).values():
        found.update(_of_record(record, hand.protocol, since))
    return found


def _of_record(record: Record, protocol: Protocol, since: date) -> Iterable[str]:
    """Each operation once: an eye that is operated again is the later operation's from then on."""
    for operation in record.operations:
        again = min(
            (o.date for o in record.operations if o.eye == operation.eye and o.date > operation.date),
            default=date.max,
        )
        looks = [
            look
            for look in record.reviews
            if look.eye == operation.eye
            and (look.vision or look.pinhole)
            and max(since, operation.date + timedelta(days=1)) <= look.date <= again
        ]
        if not looks:
            continue
        last = max(looks, key=lambda look: look.date)
        seen = protocol.vision_bands.band(last.vision or last.pinhole or "")
        when = "early" if (last.date - operation.date).days < protocol.early_vision.days else "final"
        yield f"{when} {seen or 'not understood'}"
