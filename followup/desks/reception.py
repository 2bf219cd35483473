"""Reception's desk: who comes today, whose sheet this is, who must be reached."""

from __future__ import annotations

import secrets
from datetime import date, timedelta
from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from sqlmodel import Session

from followup.desks.desk import AnyVisit, Visit
from followup.desks.pages import go, show
from followup.desks.posted import AForm, Posted, first
from followup.desks.visit_lines import VisitLine, visit_lines
from followup.desks.words import desk_translator
from followup.errors import FollowupError
from followup.recall.worklist import reason, worklist
from followup.records.patients import patient_by_code, unknown_patient
from followup.records.plans import active_plan, plans_of
from followup.records.sheets import find_sheet, sheets_of
from followup.records.trips import day_trips, open_trips, trip, trips_of
from followup.records.views import FoundSheet, PatientView, TripView
from followup.records.visits import mark_arrived, mark_fulfilled, mark_noshow
from followup.records.walkins import note_walk_in

router = APIRouter()


@router.get("/today")
def today(request: Request, visit: AnyVisit, on: date | None = None) -> Response:
    return _day_page(request, visit, on or visit.today)


@router.get("/found/{sheet}")
def found(request: Request, visit: AnyVisit, sheet: str) -> Response:
    """Whose sheet it is and what to do next; nothing is stored by looking."""
    with visit.desk.store.read() as session:
        known = find_sheet(session, sheet)
        if known is None:
            raise FollowupError(
                "sheet.unknown", "no such sheet was issued here", fix="search by name instead"
            )
        return _patient_page(request, visit, session, known.patient, found=known)


@router.get("/patients/{code}")
def patient_page(request: Request, visit: AnyVisit, code: str) -> Response:
    with visit.desk.store.read() as session:
        who = patient_by_code(session, code)
        if who is None:
            raise FollowupError(
                "patient.unknown", "no patient with this code", fix="look the patient up by name"
            )
        return _patient_page(request, visit, session, who)


@router.post("/trips/{trip}/arrived")
def arrived(visit: AnyVisit, trip_id: Annotated[int, Path(alias="trip")], form: AForm) -> Response:
    seen = arrive(visit, trip_id, _nonce(form))
    return go(f"/patients/{seen.patient_code}")


def arrive(visit: Visit, trip_id: int, nonce: str) -> TripView:
    """The patient is here; not before the first right day. The same ``nonce`` counts once."""
    with visit.desk.store.write(visit.actor, visit.now) as unit:
        refuse_early(trip(unit.session, trip_id), visit.today)
        return mark_arrived(unit, trip_id=trip_id, nonce=nonce)


@router.post("/patients/{code}/walk-in")
def walk_in(visit: AnyVisit, code: str, form: AForm) -> Response:
    """Somebody comes without a visit for today."""
    seen = come_in(visit, code, why=first(form, "why"), nonce=_nonce(form))
    return go(f"/patients/{seen.patient_code}")


def come_in(visit: Visit, code: str, *, why: str, nonce: str) -> TripView:
    """Somebody is here without a visit for today. The same ``nonce`` counts once."""
    with visit.desk.store.write(visit.actor, visit.now) as unit:
        who = patient_by_code(unit.session, code)
        if who is None:
            raise unknown_patient()
        return note_walk_in(unit, patient_id=who.id, reason=why, nonce=nonce)


@router.get("/today/list")
def day_list(request: Request, visit: AnyVisit, on: date | None = None) -> Response:
    """The day on paper, for the window and for a day without electricity."""
    day = on or visit.today
    with visit.desk.store.read() as session:
        lines = visit_lines(session, visit, day_trips(session, day))
    return show(request, "day-list.html", day=day, lines=sorted(lines, key=_by_name))


@router.post("/trips/{trip}/no-show")
def no_show(visit: AnyVisit, trip: int) -> Response:
    with visit.desk.store.write(visit.actor, visit.now) as unit:
        seen = mark_noshow(unit, trip_id=trip)
    return go(f"/patients/{seen.patient_code}")


@router.post("/trips/{trip}/seen")
def seen(visit: AnyVisit, trip: int, form: AForm) -> Response:
    """The visit is over; what was not looked at stays open as a visit of its own."""
    with visit.desk.store.write(visit.actor, visit.now) as unit:
        done = mark_fulfilled(unit, trip_id=trip, served=tuple(form.get("served", [])))
    return go(f"/patients/{done.patient_code}")


def _nonce(form: Posted) -> str:
    nonce = first(form, "nonce")
    if not 16 <= len(nonce) <= 64:
        raise FollowupError("trip.nonce", "this form is not complete", fix="open the patient again")
    return nonce


def refuse_early(planned: TripView, today: date) -> None:
    """A look before its first right day would not see what it is for, and must not count as it."""
    if today < planned.window_start:
        raise FollowupError(
            "trip.early",
            f"this visit is not before {planned.window_start}",
            where=f"visit of {planned.day}",
            fix="if something is wrong with the eye, call the surgeon now",
        )


def _in_time(line: VisitLine) -> tuple[int, str, str]:
    """Those who wait here first, longest waiting first; then those to come; then who was seen."""
    order = ("here", "overdue", "late", "due today", "upcoming", "done", "cancelled")
    arrived = line.trip.arrived_at.isoformat() if line.trip.arrived_at else ""
    return order.index(line.stands), arrived, line.who.name.casefold()


def _by_name(line: VisitLine) -> str:
    return line.who.name.casefold()


def _day_page(request: Request, visit: Visit, day: date) -> Response:
    with visit.desk.store.read() as session:
        lines = visit_lines(session, visit, day_trips(session, day))
        earlier = open_trips(session, until=day - timedelta(days=1)) if day == visit.today else ()
        missed = sorted(visit_lines(session, visit, earlier), key=lambda line: line.trip.window_end)
        items = worklist(session, visit.now)
    lines = tuple(sorted(lines, key=_in_time))
    return show(request, "today.html", day=day, lines=lines, missed=missed, to_reach=len(items))


def _patient_page(
    request: Request, visit: Visit, session: Session, who: PatientView, found: FoundSheet | None = None
) -> Response:
    lines = visit_lines(session, visit, (t for t in trips_of(session, who.id) if t.status != "cancelled"))
    here = next((line for line in lines if line.stands == "here"), None)
    upcoming = next((line for line in lines if line.open), None)
    words = desk_translator(visit.language)
    plans = plans_of(session, who.id)
    in_force = active_plan(session, who.id)
    return show(
        request,
        "patient.html",
        who=who,
        found=found,
        lines=lines,
        here=here,
        coming=upcoming,
        plans=plans,
        in_force=in_force,
        sheets=sheets_of(session, who.id),
        worries=[reason(item, words) for item in worklist(session, visit.now) if item.patient.id == who.id],
        nonce=secrets.token_urlsafe(24),
    )
