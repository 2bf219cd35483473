"""Visits as lines of a list: whose, how each stands today, and what it is for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from followup.care.hand import Hand
from followup.care.trips.went import as_it_went
from followup.clinical.careplan import CarePlan
from followup.clinical.plan.keys_told import LOST, PlanNames
from followup.clinical.protocol.protocol import text_of
from followup.clinical.record import Eye
from followup.drawings.staircase import Staircase, build_staircase
from followup.language.catalogues import N_
from followup.recall.reach.lateness import Lateness, VisitDays, days_overdue, lateness
from followup.records.people.patients import patients_by_id
from followup.records.plans.plans import plan_bodies
from followup.records.store.store import Session
from followup.records.trips.trips import trips_of_all
from followup.records.views import PatientView, TripView

# Whoever came without a visit is here for nothing that a plan has asked for.
WITHOUT = N_("came without a visit")


@dataclass(frozen=True)
class LookedAt:
    """One thing that the visit looks at."""

    key: str
    text: str
    eye: Eye | None


@dataclass(frozen=True)
class TripLine:
    """One visit. ``days`` counts the days past the last possible one."""

    trip: TripView
    who: PatientView
    stands: Lateness
    days: int
    reasons: tuple[LookedAt, ...]
    stairs: Staircase | None

    @property
    def open(self) -> bool:
        return self.stands in ("upcoming", "due today", "late", "overdue")

    @property
    def eyes(self) -> tuple[Eye, ...]:
        """The eyes that the visit is for; both of the patient's where no check names one."""
        named = {reason.eye for reason in self.reasons if reason.eye}
        return tuple(eye for eye in self.who.eyes if eye in named) or self.who.eyes


def visit_lines(session: Session, hand: Hand, trips: Iterable[TripView]) -> tuple[TripLine, ...]:
    """The lines of ``trips``, in their order; four queries however many there are."""
    chosen = tuple(trips)
    people = patients_by_id(session, {trip.patient_id for trip in chosen})
    bodies = plan_bodies(session, {trip.plan_id for trip in chosen})
    went = trips_of_all(session, {trip.patient_id for trip in chosen})
    return tuple(
        _line(hand, trip, people[trip.patient_id], bodies.get(trip.plan_id), went.get(trip.patient_id, ()))
        for trip in chosen
    )


def kind_words(hand: Hand, kind: str) -> str:
    """A kind of check in the words of the protocol, or its id where the protocol does not know it."""
    return text_of(kind, hand.protocol.kinds)


def _line(
    hand: Hand, trip: TripView, who: PatientView, body: CarePlan | None, went: Iterable[TripView]
) -> TripLine:
    mirrored = hand.mirrored
    drawn = as_it_went(body, went, hand) if body else None
    days = VisitDays(trip.day, trip.window_end, trip.status, trip.is_unseen(hand.today))
    return TripLine(
        trip=trip,
        who=who,
        stands=lateness(days, hand.now, hand.zone),
        days=days_overdue(days, hand.today),
        reasons=_reasons(hand, trip, body),
        stairs=build_staircase(drawn, today=hand.today, mirrored=mirrored) if drawn else None,
    )


def _reasons(hand: Hand, trip: TripView, body: CarePlan | None) -> tuple[LookedAt, ...]:
    """What the visit looks at, or looked at. A need that the plan no longer names goes by its kind."""
    keys = trip.served if trip.status == "fulfilled" else trip.serves
    if not trip.serves and not trip.services:
        return (LookedAt("", WITHOUT, None),)
    if not keys and body:
        return tuple(LookedAt("", kind_words(hand, kind), eye) for kind, eye in body.watched)
    needs = {need.key: need for need in body.needs} if body else {}
    names = PlanNames(body, hand.protocol) if body else None
    return tuple(
        LookedAt(key, kind_words(hand, needs[key].kind), needs[key].eye)
        if key in needs
        else LookedAt(key, names.look(key) if names else LOST, None)
        for key in keys
    )
