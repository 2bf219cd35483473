"""Moving a visit: only inside its clinical window, with every day of it shown and what a later one costs."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from followup.care.trips.trip_days import days_to_choose
from followup.care.trips.trips import Booked, Moved, move, promise
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.patient_page import then_patient
from followup.desks.page.posted import AForm, AnAct, Posted, act_of, first
from followup.errors import FollowupError
from followup.records.desk.trip_steps import no_hour, refuse_moved
from followup.records.trips.trips import trip
from followup.records.views import TripView
from followup.said import say

router = APIRouter()
TripId = Annotated[int, Path(alias="trip")]


@router.get("/trips/{trip}/move")
def move_page(request: Request, hand: AnyHand, trip_id: TripId) -> Response:
    return _page(request, hand, trip_id)


@router.post("/trips/{trip}/move")
def moved(request: Request, hand: AnyHand, trip_id: TripId, form: AForm) -> Response:
    try:
        done = move(hand, trip_id, _act(Moved, form, day=first(form, "day")))
    except FollowupError as exc:
        return _page(request, hand, trip_id, error=exc.line, status=status_of(exc))
    return go(f"/patients/{done.patient_code}")


@router.post("/trips/{trip}/book")
def book(request: Request, hand: AnyHand, trip_id: TripId, form: AForm) -> Response:
    with hand.store.read() as session:
        found = trip(session, trip_id)
    return then_patient(request, hand, found.patient_code, form, lambda: _promise(hand, found, form))


def _promise(hand: DeskHand, found: TripView, form: Posted) -> None:
    """That the visit was moved is said before anything is said of its hour."""
    refuse_moved(found, _act(Booked, form, hour=None).seen)
    promise(hand, found.id, _act(Booked, form))


def _act(kind: type[AnAct], form: Posted, **sent: object) -> AnAct:
    """The act with its hour and the day on which the page showed the visit."""
    hour, seen = first(form, "hour"), first(form, "seen")
    no_day = FollowupError("trip.day", say("not a day"), where=say("day"), fix=say("choose one of the days"))
    given = {"hour": hour or None, "seen": seen or None} | sent
    return act_of(kind, given, day=no_day, hour=no_hour(hour), seen=no_day)


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
