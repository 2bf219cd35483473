"""Moving a visit: only inside its clinical window, with every day of it shown and what a later one costs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from followup.care.trip_lines import TripLine, visit_lines
from followup.clinical.words.why_reasons import because_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.patient_page import then_patient
from followup.desks.page.posted import AForm, Posted, first
from followup.errors import FollowupError
from followup.records.desk.trip_steps import book_trip, move_trip
from followup.records.plans.plans import plan
from followup.records.store.store import Session
from followup.records.trips.places import planning_calendar
from followup.records.trips.trips import trip
from followup.records.views import TripView
from followup.said import say
from followup.timing.calendar import Calendar

router = APIRouter()
MOST_DAYS = 70
TripId = Annotated[int, Path(alias="trip")]


@dataclass(frozen=True)
class DayChoice:
    """A day of the window. ``room``: places left, None without limit; 0 places: closed or full."""

    day: date
    open: bool
    room: int | None
    away: int

    @property
    def possible(self) -> bool:
        return self.open and self.room != 0


@router.get("/trips/{trip}/move")
def move_page(request: Request, hand: AnyHand, trip_id: TripId) -> Response:
    return _page(request, hand, trip_id)


@router.post("/trips/{trip}/move")
def move(request: Request, hand: AnyHand, trip_id: TripId, form: AForm) -> Response:
    try:
        given = _day(first(form, "day")), first(form, "hour")
        moved = move_to(hand, trip_id, *given, seen=_seen(form))
    except FollowupError as exc:
        return _page(request, hand, trip_id, error=exc.line, status=status_of(exc))
    return go(f"/patients/{moved.patient_code}")


def move_to(
    hand: DeskHand, trip_id: int, day: date, hour: str | None = None, *, seen: date | None = None
) -> TripView:
    """Move a visit; its errors are those of ``move_trip``."""
    with hand.store.write(hand.actor, hand.now) as unit:
        return move_trip(unit, trip_id=trip_id, day=day, hour=hour, seen=seen)


@router.post("/trips/{trip}/book")
def book(request: Request, hand: AnyHand, trip_id: TripId, form: AForm) -> Response:
    with hand.store.read() as session:
        code = trip(session, trip_id).patient_code
    hour = first(form, "hour")
    return then_patient(request, hand, code, form, lambda: promise(hand, trip_id, hour, seen=_seen(form)))


def promise(hand: DeskHand, trip_id: int, hour: str | None = None, *, seen: date | None = None) -> TripView:
    """Promise the patient the day, with its hour where one is given; its places are taken."""
    with hand.store.write(hand.actor, hand.now) as unit:
        return book_trip(unit, trip_id=trip_id, hour=hour, seen=seen)


def _seen(form: Posted) -> date | None:
    """The day on which the page showed the visit."""
    return _day(first(form, "seen")) if first(form, "seen") else None


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise FollowupError(
            "trip.day", say("not a day"), where=say("day"), fix=say("choose one of the days")
        ) from None


def _choices(hand: DeskHand, line: TripLine, calendar: Calendar) -> tuple[DayChoice, ...]:
    start = max(line.trip.window_start, hand.today)
    count = min((line.trip.window_end - start).days + 1, MOST_DAYS)
    return tuple(_choice(line, start + timedelta(days=i), calendar) for i in range(count))


def _choice(line: TripLine, day: date, calendar: Calendar) -> DayChoice:
    services = line.trip.services
    rooms = [room for service in services if (room := calendar.room(service, day)) is not None]
    is_open = calendar.is_open(day) and all(calendar.offers(service, day) for service in services)
    return DayChoice(day, is_open, min(rooms, default=None), (day - line.trip.day).days)


def _because(session: Session, line: TripLine) -> tuple[str, ...]:
    """Why the window is what it is, each sentence once: what leaving it would cost."""
    body = plan(session, line.trip.plan_id).body
    needs = [need for need in body.needs if need.key in line.trip.serves]
    return tuple(dict.fromkeys(because_of(reason) for need in needs for reason in need.reasons))


@dataclass(frozen=True)
class Moving:
    """A visit with every day of its window, and why the window is what it is."""

    line: TripLine
    days: tuple[DayChoice, ...]
    because: tuple[str, ...]


def days_to_choose(hand: DeskHand, trip_id: int) -> Moving:
    """Where a visit may go. Error ``trip.unknown``."""
    with hand.store.read() as session:
        line = visit_lines(session, hand, [trip(session, trip_id)])[0]
        days = _choices(hand, line, planning_calendar(session, line.trip.patient_id))
        return Moving(line, days, _because(session, line))


def _page(
    request: Request, hand: DeskHand, trip_id: int, *, error: str | None = None, status: int = 200
) -> Response:
    found = days_to_choose(hand, trip_id)
    return show(
        request,
        "move.html",
        status=status,
        line=found.line,
        who=found.line.who,
        days=found.days,
        because=found.because,
        error=error,
    )
