"""Whom a search found, each with the visit that is next."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from followup.care.hand import Hand
from followup.care.trips.trip_lines import TripLine, visit_lines
from followup.records.people.patients import names_of_several
from followup.records.store.store import Session
from followup.records.trips.trips import OPEN, trips_of_all
from followup.records.views import PatientView


@dataclass(frozen=True)
class Hit:
    """A person who was found, with the next visit. ``several``: another patient has the same name."""

    who: PatientView
    next: TripLine | None
    several: bool


def hits(session: Session, hand: Hand, people: Iterable[PatientView]) -> tuple[Hit, ...]:
    """The people in their order, each with the visit that is next: the longest missed one, else the first."""
    found = tuple(people)
    several = names_of_several(session, found)
    trips = trips_of_all(session, {who.id for who in found})
    upcoming = [
        min(still, key=lambda trip: (trip.day, trip.id))
        for own in trips.values()
        if (still := [trip for trip in own if trip.status in OPEN])
    ]
    lines = {line.who.id: line for line in visit_lines(session, hand, upcoming)}
    return tuple(Hit(who, lines.get(who.id), who.id in several) for who in found)
