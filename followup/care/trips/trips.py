"""What becomes of a visit: the patient is here, went home, stayed away; it was seen, is moved, promised."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from followup.care.act import Act, Line, Nonce, Truth
from followup.care.danger import SIGNS
from followup.care.hand import Hand
from followup.clinical.record.base import Day
from followup.records.desk.leaving import mark_left, mark_unseen
from followup.records.desk.trip_steps import book_trip, mark_arrived, mark_fulfilled, mark_noshow, move_trip
from followup.records.desk.walkins import note_walk_in
from followup.records.people.patients import known
from followup.records.trips.trips import trip
from followup.records.views import TripView
from followup.timing.calendar_entries import ClockTime


class Arrival(Act):
    nonce: Nonce


class WalkIn(Act):
    """``signs``: which of the four are said yes to; any of them is an alert until a look is stored.

    ``why`` in a few words; it may be empty only where there is a sign.
    """

    nonce: Nonce
    signs: Annotated[
        list[Literal["sight falls", "pain", "redness grows", "knock or flashes"]], Field(max_length=4)
    ]
    why: Line = ""


class Seen(Act):
    """``served`` are keys of ``for_what`` that were looked at, beside what findings have closed.

    What was not looked at stays open. ``nothing``: none was, and the visit is open again.
    """

    served: Annotated[list[Annotated[Line, Field(min_length=1)]], Field(max_length=40)]
    nothing: Truth = False


class Moved(Act):
    """``hour``: a new one on the 24-hour clock, or null; on another day the old one is gone.

    ``seen``: the day on which it stood when whoever asks looked at it.
    """

    day: Day
    hour: ClockTime | None = None
    seen: Day | None = None


class Booked(Act):
    """``hour``: on the 24-hour clock, where the patient is told one. ``seen``: the day that is promised."""

    hour: ClockTime | None = None
    seen: Day | None = None


def arrive(hand: Hand, trip_id: int, act: Arrival) -> TripView:
    """The patient is here. The same ``nonce`` counts once."""
    with hand.store.write(hand.actor, hand.now) as unit:
        return mark_arrived(unit, trip_id=trip_id, nonce=act.nonce)


def come_in(hand: Hand, code: str, act: WalkIn) -> TripView:
    """Somebody is here without a visit for today. The same ``nonce`` counts once."""
    with hand.store.write(hand.actor, hand.now) as unit:
        patient = known(unit.session, code).id
        signs = [sign for sign in SIGNS if sign in act.signs]
        return note_walk_in(unit, patient_id=patient, reason=act.why, signs=signs, nonce=act.nonce)


def stay_away(hand: Hand, trip_id: int) -> TripView:
    """The patient did not come."""
    with hand.store.write(hand.actor, hand.now) as unit:
        return mark_noshow(unit, trip_id=trip_id)


def go_home(hand: Hand, trip_id: int) -> TripView:
    """The patient has left. Without findings the visit stands on the surgeon's list."""
    with hand.store.write(hand.actor, hand.now) as unit:
        return mark_left(unit, trip_id=trip_id)


def finish(hand: Hand, trip_id: int, act: Seen) -> TripView:
    """The visit looked at what a clinical role says, beside what findings have closed."""
    with hand.store.write(hand.actor, hand.now) as unit:
        if act.nothing:
            return mark_unseen(unit, trip_id=trip_id)
        before = trip(unit.session, trip_id).served
        return mark_fulfilled(unit, trip_id=trip_id, served=tuple(dict.fromkeys((*before, *act.served))))


def move(hand: Hand, trip_id: int, act: Moved) -> TripView:
    """Move a visit; its errors are those of ``move_trip``."""
    with hand.store.write(hand.actor, hand.now) as unit:
        return move_trip(unit, trip_id=trip_id, day=act.day, hour=act.hour, seen=act.seen)


def promise(hand: Hand, trip_id: int, act: Booked) -> TripView:
    """Promise the patient the day, with its hour where one is given; its places are taken."""
    with hand.store.write(hand.actor, hand.now) as unit:
        return book_trip(unit, trip_id=trip_id, hour=act.hour, seen=act.seen)
