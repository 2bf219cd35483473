"""Reaching those who did not come: the call with its words in the patient's language, and its outcome."""

from __future__ import annotations

import secrets
from datetime import date

from fastapi import APIRouter, Request, Response

from followup.clinical.english import day_words, joined
from followup.clinical.protocol.recall import OUTCOMES, AttemptOutcome, Way
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.noted import SAID, noted_today
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, first
from followup.errors import FollowupError
from followup.language.catalogues import N_, choose, translator
from followup.recall.messages.wording import TEXTS, Reader
from followup.recall.reach.line import ToReach
from followup.recall.reach.promises import last_promise_day, promise_days
from followup.recall.reach.worklist import reason, worklist
from followup.records.desk.attempts import AttemptView, attempt_of_form, attempts_on, note_attempt, standings
from followup.records.desk.promises import book_promised
from followup.records.people.patients import known as known_patient
from followup.records.people.patients import patients_by_id
from followup.records.store.store import Session
from followup.records.trips.places import planning_calendar
from followup.records.trips.trips import trip
from followup.said import say

router = APIRouter()
WAYS: dict[Way, str] = {
    "call": N_("Call the patient"),
    "second contact": N_("Call the second contact"),
    "community worker": N_("Send the community worker"),
    "surgeon": N_("Tell the surgeon"),
}


@router.get("/to-reach")
def to_reach(request: Request, hand: AnyHand) -> Response:
    """Whom to reach now, whom later, and what was tried today."""
    words = hand.texts.translator
    with hand.store.read() as session:
        items = worklist(session, hand.now, hand.protocol.recall)
        tried = {one.patient_id for one in attempts_on(session, hand.today)}
        people = {who.code: who for who in patients_by_id(session, tried).values()}
        noted = noted_today(session, hand, people, {"tried to reach"})
        gone = len(standings(session))
    said = [(item, reason(item, words)) for item in items]
    return show(
        request,
        "to-reach.html",
        now=[line for line in said if not line[0].waits],
        later=[line for line in said if line[0].waits],
        noted=[(one, people[one.code]) for one in noted],
        gone=gone,
        said=SAID,
    )


@router.get("/patients/{code}/call")
def call_page(request: Request, hand: AnyHand, code: str) -> Response:
    return _page(request, hand, reach_item(hand, code))


@router.post("/patients/{code}/call")
def note_call(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """Write down what came of it; the ladder says what is next."""
    item = reach_item(hand, code)
    try:
        way, outcome, nonce = first(form, "way"), first(form, "outcome"), first(form, "nonce")
        if way not in OUTCOMES or outcome not in SAID or not 16 <= len(nonce) <= 64:
            raise FollowupError(
                "attempt.outcome", say("not said what came of it"), fix=say("press one of the outcomes")
            )
        promised = _day(first(form, "promised")) if outcome == "will come" else None
        note_reached(
            hand, code, way=way, outcome=outcome, nonce=nonce, promised=promised, note=first(form, "note")
        )
    except FollowupError as exc:
        return _page(
            request, hand, item, error=exc.line, status=status_of(exc), note=first(form, say("note"))
        )
    return go("/to-reach")


def note_reached(
    hand: DeskHand,
    code: str,
    *,
    way: Way,
    outcome: AttemptOutcome,
    nonce: str,
    promised: date | None,
    note: str,
) -> AttemptView:
    """Write down an attempt on the rung that is due. The same ``nonce`` counts once.

    "Will come" counts with a day of ``days_to_promise`` alone, and books the visit for it. Errors:
    ``reach.unknown`` where the patient need not be reached any more, ``attempt.promised``, those of
    ``note_attempt`` and of ``book_promised``.
    """
    with hand.store.write(hand.actor, hand.now) as unit:
        who = known_patient(unit.session, code)
        # A form that was sent before counts once, also where it took the patient off the list.
        sent = attempt_of_form(unit.session, nonce)
        item = None if sent else _item_of(unit.session, hand, code)
        due = sent.rung if sent else item.next.rung if item and item.next else 0
        if outcome == "will come" and item is not None:
            day = _promised(unit.session, hand, item, promised)
            if item.trip_id is not None:
                book_promised(unit, trip_id=item.trip_id, day=day)
        return note_attempt(
            unit,
            patient_id=who.id,
            rung=due,
            way=way,
            outcome=outcome,
            nonce=nonce,
            promised=promised,
            note=note[:500],
        )


def days_to_promise(session: Session, hand: DeskHand, item: ToReach) -> tuple[date, ...]:
    """The days on which this patient may promise to come: inside the limit, and with a place."""
    services = trip(session, item.trip_id).services if item.trip_id is not None else ()
    calendar = planning_calendar(session, item.patient.id)
    return promise_days(hand.protocol.recall, item.tier, hand.today, calendar, services)


def _promised(session: Session, hand: DeskHand, item: ToReach, promised: date | None) -> date:
    """The promised day. Error ``attempt.promised`` where none is given, or one that does not count."""
    days = days_to_promise(session, hand, item)
    if promised is not None and promised in days:
        return promised
    last = last_promise_day(
        hand.protocol.recall, item.tier, hand.today, planning_calendar(session, item.patient.id)
    )
    if promised is None:
        what = say("no day is given to the promise")
    elif promised > last:
        what = say("{day} is too late for an overdue check", day=day_words(promised))
    else:
        what = say("on {day} there is no place for this visit", day=day_words(promised))
    fix = (
        say("choose {days}", days=joined((day_words(day) for day in days[:5]), " or "))
        if days
        else say("no day is free in time: tell the surgeon")
    )
    raise FollowupError("attempt.promised", what, where=say("promised day"), fix=fix)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise FollowupError(
            "attempt.promised", say("not a day"), where=say("promised day"), fix=say("choose one of the days")
        ) from None


def reach_item(hand: DeskHand, code: str) -> ToReach:
    """The patient's line of the list to reach. Error ``reach.unknown``."""
    with hand.store.read() as session:
        return _item_of(session, hand, code)


def _item_of(session: Session, hand: DeskHand, code: str) -> ToReach:
    items = worklist(session, hand.now, hand.protocol.recall)
    found = next((item for item in items if item.patient.code.casefold() == code.casefold()), None)
    if found is None:
        raise FollowupError(
            "reach.unknown",
            say("this patient need not be reached now"),
            fix=say("open the list To reach today"),
        )
    return found


def call_words(hand: DeskHand, item: ToReach, reader: Reader) -> tuple[str, str]:
    """What to say, and the tag of its language: the patient's where there are words in it."""
    spoken = choose(item.patient.language).language
    text = translator(spoken.tag).gettext(TEXTS["missed", reader])
    return text % {"clinic": hand.clinic.name, "phone": hand.clinic.phone_day}, spoken.tag


def script_of(hand: DeskHand, item: ToReach) -> tuple[Way, str, str]:
    """The way that is due, what to say, and the tag of its language."""
    way: Way = item.next.way if item.next else "call"
    reader: Reader = "carer" if way in ("second contact", "community worker") else "patient"
    return (way, *call_words(hand, item, reader))


def _page(
    request: Request,
    hand: DeskHand,
    item: ToReach,
    *,
    error: str | None = None,
    status: int = 200,
    note: str = "",
) -> Response:
    way, script, tag = script_of(hand, item)
    with hand.store.read() as session:
        days = days_to_promise(session, hand, item)
    return show(
        request,
        "call.html",
        status=status,
        item=item,
        who=item.patient,
        why=reason(item, hand.texts.translator),
        way=way,
        ways=WAYS,
        outcomes=OUTCOMES[way],
        said=SAID,
        days=days,
        script=script,
        script_language=tag,
        script_direction=choose(tag).language.direction,
        nonce=secrets.token_urlsafe(24),
        error=error,
        note=note,
    )
