"""The clinic's calendar is replaced: no visit loses its day unseen."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from typing import Annotated

from pydantic import Field

from followup.care.act import Act
from followup.care.hand import Hand
from followup.errors import FollowupError
from followup.language.entered import must_print_text
from followup.records.house.clinics import clinic_calendar_of, get_clinic, put_clinic
from followup.records.store.store import Session
from followup.records.trips.closed import visits_without_offer
from followup.records.views import Clinic, TripView
from followup.said import say
from followup.timing.calendar import Calendar


class NewCalendar(Act):
    """The whole calendar in place of the one that ``seen`` stands for."""

    calendar: Calendar
    seen: Annotated[str, Field(max_length=64)]


def seen_mark(clinic: Clinic) -> str:
    """What a form or program must send back, so that it changes only what it has seen."""
    seen = json.dumps([clinic.calendar, clinic.cap_colours, clinic.address, clinic.days_to_tick])
    return hashlib.sha256(seen.encode()).hexdigest()[:16]


def replace_calendar(
    hand: Hand,
    sent: NewCalendar,
    *,
    cap_colours: bool | None = None,
    address: str | None = None,
    days_to_tick: bool | None = None,
    shown: frozenset[str] | None = None,
) -> tuple[TripView, ...]:
    """Store a calendar in place of the one that the change was made from.

    ``cap_colours`` says whether sheets draw the caps of bottles in colour, ``address`` where patients come
    to, ``days_to_tick`` whether every sheet has them; None leaves each as it is. ``shown``: the ids of the
    visits that the person knows to lose their day; where there are others, nothing is stored and all of
    them come back.
    Errors: ``calendar.site``, ``store.conflict``.
    """
    if hand.actor.site is not None:
        raise FollowupError(
            "calendar.site",
            say("the calendar of one site is not changed here"),
            fix=say("ask the clinic's manager"),
        )
    must_print_text(address or "", "address")
    closed = sent.calendar.closed_days
    must_print_text((closed.place if closed else None) or "", "place")
    with hand.store.write(hand.actor, hand.now) as unit:
        clinic = get_clinic(unit.session)
        if seen_mark(clinic) != sent.seen:
            raise FollowupError(
                "store.conflict",
                say("someone else changed the calendar meanwhile"),
                fix=say("open it again and repeat what is still needed"),
            )
        if shown is not None:
            hit = _newly_hit(unit.session, hand, clinic_calendar_of(clinic), sent.calendar)
            if not {str(trip.id) for trip in hit} <= shown:
                return hit
        caps = clinic.cap_colours if cap_colours is None else cap_colours
        where = clinic.address if address is None else address.strip()
        ticked = clinic.days_to_tick if days_to_tick is None else days_to_tick
        text = json.dumps(sent.calendar.model_dump(mode="json", exclude_defaults=True))
        changed = replace(clinic, calendar=text, cap_colours=caps, address=where, days_to_tick=ticked)
        put_clinic(unit, changed)
    return ()


def _newly_hit(session: Session, hand: Hand, old: Calendar, new: Calendar) -> tuple[TripView, ...]:
    """The visits that the stored calendar offers and the new one does not."""
    before = {trip.id for trip in visits_without_offer(session, old, hand.today)}
    after = visits_without_offer(session, new, hand.today)
    return tuple(trip for trip in after if trip.id not in before)
