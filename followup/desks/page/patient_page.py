"""A patient's page: who it is, what to do now, and everything that the desks note about the person."""

from __future__ import annotations

import secrets
from collections.abc import Callable

from fastapi import Request, Response

from followup.care.danger import QUESTIONS
from followup.care.looks.before_leaving import checks_to_do
from followup.care.trips.trip_lines import visit_lines
from followup.care.trips.went import as_it_went
from followup.desks.door.hand import DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.brief_reason import brief_reason
from followup.desks.page.noted import noted_today
from followup.desks.page.pages import go, show
from followup.desks.page.posted import Posted
from followup.errors import FollowupError
from followup.recall.reach.worklist import line_of, reason
from followup.records.channels import WAYS_OUT
from followup.records.desk.attempts import standing_of
from followup.records.desk.erasing import contact_erased
from followup.records.people.messages import message_choice
from followup.records.people.patients import known
from followup.records.plans.plans import active_plan, completed_plan, plans_of
from followup.records.plans.sheets import sheets_of
from followup.records.store.store import Session
from followup.records.trips.trips import trips_of
from followup.records.views import FoundSheet, PatientView


def then_patient(
    request: Request,
    hand: DeskHand,
    code: str,
    form: Posted,
    do: Callable[[], object],
    *,
    then: str | None = None,
) -> Response:
    """Do it and go to the patient's page, or ``then``; where it is refused, that page says why and keeps
    the typing."""
    try:
        do()
    except FollowupError as exc:
        with hand.store.read() as session:
            who = known(session, code)
            return patient_answer(
                request, hand, session, who, error=exc.line, typed=form, status=status_of(exc)
            )
    return go(then or f"/patients/{code}")


def patient_answer(
    request: Request,
    hand: DeskHand,
    session: Session,
    who: PatientView,
    *,
    found: FoundSheet | None = None,
    error: str | None = None,
    typed: Posted | None = None,
    status: int = 200,
) -> Response:
    """The page. ``found``: the sheet that was scanned; ``typed``: a form that was refused."""
    trips, plan = trips_of(session, who.id), active_plan(session, who.id)
    lines = visit_lines(session, hand, (t for t in trips if t.status != "cancelled"))
    standing = standing_of(session, who.id)
    gone = standing if standing and standing.standing != "followed" else None
    words, rules = hand.texts.translator, hand.protocol.recall
    line = line_of(session, hand.now, rules, who.id)
    here = next((one for one in lines if one.stands == "here"), None)
    left = next((one for one in lines if one.stands == "left"), None)
    coming = next((one for one in lines if one.open), None)
    return show(
        request,
        "patient.html",
        status=status,
        who=who,
        found=found,
        gone=gone,
        lines=lines,
        here=here,
        left=left,
        coming=coming,
        # Whoever left without findings and comes again is here for that visit.
        arrives=coming if coming and coming.trip.window_start <= hand.today else left,
        questions=QUESTIONS,
        checks=checks_to_do(session, hand, who.code),
        plans=plans_of(session, who.id),
        in_force=plan,
        completed=completed_plan(session, who.id),
        drawn=as_it_went(plan.body, trips, hand) if plan else None,
        sheets=sheets_of(session, who.id),
        reach=line,
        worry=reason(line, words, hand.today.year) if line else "",
        brief=brief_reason(hand, line) if line else "",
        messages=message_choice(session, who.id),
        erased=contact_erased(session, who.id),
        ways_out=WAYS_OUT,
        noted=noted_today(session, hand, [who.code]),
        nonce=secrets.token_urlsafe(24),
        error=error,
        typed={name: values[0] for name, values in (typed or {}).items()},
    )
