"""Reception's desk: who comes today, whose sheet this is, who must be reached."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Path, Request, Response

from followup.care.danger import QUESTIONS, in_danger
from followup.care.looks.before_leaving import checks_to_do
from followup.care.sheets.content import found_sheet
from followup.care.trips.day import DayGroups, OnDay, day_groups
from followup.care.trips.trip_lines import TripLine, standing_lines, told_lines, visit_lines
from followup.care.trips.trips import Arrival, Seen, WalkIn, arrive, come_in, finish, go_home, stay_away
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.days import AskedDay
from followup.desks.page.noted import noted_today
from followup.desks.page.pages import show
from followup.desks.page.parts import Part, Whole, part
from followup.desks.page.patient_page import patient_answer, then_patient
from followup.desks.page.posted import AForm, AnAct, Posted, act_of, first
from followup.errors import FollowupError
from followup.recall.reach.worklist import worklist
from followup.records.people.patients import known, names_of_several, patient_by_code
from followup.records.store.store import Session
from followup.records.trips.trips import day_trips, missed_trips, trip
from followup.records.views import TripView
from followup.said import say

TripId = Annotated[int, Path(alias="trip", ge=1, le=2_147_483_647)]
router = APIRouter()
_FOLDED = ("seen", "missed")
_GROUPS = ("to_come", "here", "left", *_FOLDED)


@router.get("/today")
def today(request: Request, hand: AnyHand, on: AskedDay, noted: str = "", whole: Whole = "") -> Response:
    """The day. ``noted``: the code of whom a line was pressed for, to say it and to take it back."""
    return _day_page(request, hand, on or hand.today, noted, whole)


@router.get("/found/{sheet}")
def found(request: Request, hand: AnyHand, sheet: str) -> Response:
    """Whose sheet it is and what to do next; nothing is stored by looking."""
    of_sheet = found_sheet(hand, sheet)
    with hand.store.read() as session:
        return patient_answer(request, hand, session, of_sheet.patient, found=of_sheet)


@router.get("/patients/{code}")
def patient_page(request: Request, hand: AnyHand, code: str) -> Response:
    with hand.store.read() as session:
        return patient_answer(request, hand, session, known(session, code))


@router.post("/trips/{trip}/arrived")
def arrived(request: Request, hand: AnyHand, trip_id: TripId, form: AForm) -> Response:
    return _then(request, hand, trip_id, form, lambda: arrive(hand, trip_id, _act(Arrival, form)))


@router.post("/patients/{code}/walk-in")
def walk_in(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """Somebody comes without a visit for today."""
    return then_patient(request, hand, code, form, lambda: come_in(hand, code, _walk_in(form)))


def _walk_in(form: Posted) -> WalkIn:
    """All four are answered with yes or no before the words: what is left open is asked again."""
    answers = {sign: first(form, f"sign.{i}") for i, sign in enumerate(QUESTIONS)}
    if any(said not in ("yes", "no") for said in answers.values()):
        raise FollowupError(
            "walkin.signs",
            say("not all four are answered"),
            where=say("the four questions"),
            fix=say("ask each: yes or no"),
        )
    signs = [sign for sign, said in answers.items() if said == "yes"]
    return _act(WalkIn, form, signs=signs, why=first(form, "why"))


@router.get("/today/list")
def day_list(request: Request, hand: AnyHand, on: AskedDay) -> Response:
    """The day on paper, for the window and for a day without electricity."""
    day = on or hand.today
    with hand.store.read() as session:
        lines = visit_lines(session, hand, day_trips(session, day))
    return show(request, "day-list.html", day=day, lines=sorted(lines, key=_by_name))


@router.post("/trips/{trip}/no-show")
def no_show(request: Request, hand: AnyHand, trip_id: TripId, form: AForm) -> Response:
    return _then(request, hand, trip_id, form, lambda: stay_away(hand, trip_id))


@router.post("/trips/{trip}/left")
def left(request: Request, hand: AnyHand, trip_id: TripId, form: AForm) -> Response:
    """The patient went home; what was looked at, findings tell."""
    return _then(request, hand, trip_id, form, lambda: go_home(hand, trip_id))


@router.post("/trips/{trip}/seen")
def seen(request: Request, hand: AnyHand, trip_id: TripId, form: AForm) -> Response:
    """A clinical role says what was looked at, one by one; the rest stays open as a visit of its own."""
    nothing = first(form, "nothing") == "yes"
    sent = {"served": [] if nothing else form.get("served", []), "nothing": nothing}
    return _then(request, hand, trip_id, form, lambda: finish(hand, trip_id, act_of(Seen, sent)))


def _then(
    request: Request, hand: DeskHand, trip_id: int, form: Posted, do: Callable[[], TripView]
) -> Response:
    """Do it, and on to the patient's page, or back to the day where its line was pressed."""
    with hand.store.read() as session:
        code = trip(session, trip_id).patient_code
    whole = first(form, "all")
    back = f"/today?noted={quote(code)}" + (f"&all={quote(whole)}" if whole else "")
    then = back if first(form, "from") == "day" else None
    return then_patient(request, hand, code, form, do, then=then)


def _act(kind: type[AnAct], form: Posted, **sent: object) -> AnAct:
    """The act with what makes it count once."""
    given = sent | {"nonce": first(form, "nonce")}
    incomplete = FollowupError(
        "trip.nonce", say("this form is not complete"), fix=say("open the patient again")
    )
    return act_of(kind, given, nonce=incomplete)


def _by_name(line: TripLine) -> str:
    return line.who.name.casefold()


def _day_page(request: Request, hand: DeskHand, day: date, noted: str, whole: str) -> Response:
    with hand.store.read() as session:
        earlier = missed_trips(session, day) if day == hand.today else ()
        # Whoever came today for a visit of an earlier day stands in both.
        trips = {one.id: one for one in (*earlier, *day_trips(session, day))}
        items = worklist(session, hand.now, hand.protocol.recall)
        danger = [one for one in in_danger(session) if one.alert.kind == "walk-in"]
        elsewhere = {one.who.id for one in danger}
        groups = day_groups(standing_lines(session, hand, trips.values()), hand.today, elsewhere)
        people = _shown(session, hand, groups, whole)
        checks = checks_to_do(session, hand)
        listed = [one.line.who for group in people.values() for one in group.lines]
        several = names_of_several(session, listed)
        who = patient_by_code(session, noted) if noted else None
        steps = noted_today(session, hand, [who.code])[:1] if who else []
    now = sum(not item.waits for item in items)
    return show(
        request,
        "today.html",
        day=day,
        people=people,
        whole=whole,
        several=several,
        new_nonce=partial(secrets.token_urlsafe, 24),
        noted_of=who,
        noted=steps,
        danger=danger,
        checks=checks,
        to_reach=now,
        later=len(items) - now,
    )


def _shown(session: Session, hand: DeskHand, groups: DayGroups, whole: str) -> dict[str, Part[OnDay]]:
    """The first people of each group, with what their visits are for."""
    parts = {
        name: part(name.replace("_", "-"), getattr(groups, name), whole, folded=name in _FOLDED)
        for name in _GROUPS
    }
    shown = [one.line for group in parts.values() for one in group.lines]
    lines = {line.trip.id: line for line in told_lines(session, hand, shown, drawn=True)}
    return {
        name: group.filled(lambda one: replace(one, line=lines[one.line.trip.id]))
        for name, group in parts.items()
    }
