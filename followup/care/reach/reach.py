"""Reaching those who did not come: what to say, what came of it, and the day that is promised."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from pydantic import Field

from followup.care.act import Act, Line, Nonce
from followup.care.hand import Hand
from followup.clinical.english import day_words, joined
from followup.clinical.protocol.recall import AttemptOutcome, Way
from followup.clinical.record.base import Day
from followup.errors import FollowupError
from followup.language.catalogues import choose, translator
from followup.recall.messages.wording import TEXTS, Reader
from followup.recall.reach.line import ToReach
from followup.recall.reach.promises import last_promise_day, promise_days
from followup.recall.reach.worklist import line_of
from followup.records.desk.attempts import AttemptView, attempt_of_form, note_attempt
from followup.records.desk.promises import book_promised
from followup.records.people.patients import known, patient_by_code
from followup.records.store.store import Session
from followup.records.trips.places import planning_calendar
from followup.records.trips.trips import trip
from followup.said import say


class Attempt(Act):
    """What came of an attempt; ``promised``, a day of ``days``, goes with "will come" and is booked.

    ``number``: which of the patient's telephone numbers was tried.
    """

    nonce: Nonce
    way: Way
    outcome: AttemptOutcome
    promised: Day | None = None
    note: Line = ""
    number: Annotated[Line, Field(max_length=40)] = ""


def attempt(hand: Hand, code: str, act: Attempt) -> AttemptView:
    """Write down an attempt on the rung that is due. The same ``nonce`` counts once.

    "Will come" counts with a day of ``days_to_promise`` alone, and books the visit for it. Errors:
    ``reach.unknown`` where the patient need not be reached any more, ``attempt.promised``, those of
    ``note_attempt`` and of ``book_promised``.
    """
    with hand.store.write(hand.actor, hand.now) as unit:
        who = known(unit.session, code)
        # A form that was sent before counts once, also where it took the patient off the list.
        sent = attempt_of_form(unit.session, act.nonce)
        item = None if sent else _item_of(unit.session, hand, code)
        due = sent.rung if sent else item.next.rung if item and item.next else 0
        if act.outcome == "will come" and item is not None:
            day = _promised(unit.session, hand, item, act.promised)
            if item.trip_id is not None:
                book_promised(unit, trip_id=item.trip_id, day=day)
        return note_attempt(unit, patient_id=who.id, rung=due, **act.model_dump())


def days_to_promise(session: Session, hand: Hand, item: ToReach) -> tuple[date, ...]:
    """The days on which this patient may promise to come: inside the limit, and with a place."""
    services = trip(session, item.trip_id).services if item.trip_id is not None else ()
    calendar = planning_calendar(session, item.patient.id)
    return promise_days(hand.protocol.recall, item.tier, hand.today, calendar, services)


def _promised(session: Session, hand: Hand, item: ToReach, promised: date | None) -> date:
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


def reach_item(hand: Hand, code: str) -> ToReach:
    """The patient's line of the list to reach. Error ``reach.unknown``."""
    with hand.store.read() as session:
        return _item_of(session, hand, code)


def _item_of(session: Session, hand: Hand, code: str) -> ToReach:
    who = patient_by_code(session, code)
    found = line_of(session, hand.now, hand.protocol.recall, who.id) if who else None
    if found is None:
        raise FollowupError(
            "reach.unknown",
            say("this patient need not be reached now"),
            fix=say("open the list To reach today"),
        )
    return found


def script_of(hand: Hand, item: ToReach) -> tuple[Way, str, str, str]:
    """The way that is due, what to say, the tag of its language, and the same in the caller's language.

    The words stand in the patient's language where there are any, else in English.
    """
    way: Way = item.next.way if item.next else "call"
    reader: Reader = "carer" if way in ("second contact", "community worker") else "patient"

    def said(tag: str) -> str:
        text = translator(tag).gettext(TEXTS["missed", reader])
        return text % {"clinic": hand.clinic.name, "phone": hand.clinic.phone_day}

    tag = choose(item.patient.language).language.tag
    return way, said(tag), tag, said(choose(hand.language).language.tag)
