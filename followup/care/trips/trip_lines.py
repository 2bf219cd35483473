"""Visits as lines of a list: whose, how each stands today, and what it is for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from followup.care.hand import Hand
from followup.care.trips.went import days_as_they_went
from followup.clinical.plan.keys_told import LOST, look_of_protocol
from followup.clinical.protocol.protocol import text_of
from followup.clinical.record import Eye
from followup.clinical.words.gist import PlanGist
from followup.drawings.staircase import Staircase, draw_staircase
from followup.language.catalogues import N_
from followup.recall.reach.lateness import Lateness, VisitDays, days_overdue, lateness
from followup.records.people.patients import patients_by_id
from followup.records.plans.listed import plan_gists
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


def visit_lines(
    session: Session, hand: Hand, trips: Iterable[TripView], *, drawn: bool = False
) -> tuple[TripLine, ...]:
    """The lines of ``trips``, in their order; as many queries however many there are.

    ``drawn``: each with the staircase of its plan and of all visits of the patient.
    """
    return told_lines(session, hand, standing_lines(session, hand, trips), drawn=drawn)


def told_lines(
    session: Session, hand: Hand, lines: Iterable[TripLine], *, drawn: bool = False
) -> tuple[TripLine, ...]:
    """Lines of :func:`standing_lines` with what each visit is for; ``drawn`` as in :func:`visit_lines`."""
    chosen = tuple(lines)
    gists = plan_gists(session, {line.trip.plan_id for line in chosen})
    went = trips_of_all(session, {line.who.id for line in chosen}) if drawn else {}
    return tuple(
        replace(
            line,
            reasons=_reasons(hand, line.trip, gist := gists.get(line.trip.plan_id)),
            stairs=_stairs(hand, gist, went[line.who.id]) if drawn and gist else None,
        )
        for line in chosen
    )


def standing_lines(session: Session, hand: Hand, trips: Iterable[TripView]) -> tuple[TripLine, ...]:
    """The same without what each visit is for: enough to count and to sort them."""
    chosen = tuple(trips)
    people = patients_by_id(session, {trip.patient_id for trip in chosen})
    return tuple(_standing(hand, trip, people[trip.patient_id]) for trip in chosen)


def kind_words(hand: Hand, kind: str) -> str:
    """A kind of check in the words of the protocol, or its id where the protocol does not know it."""
    return text_of(kind, hand.protocol.kinds)


def _standing(hand: Hand, trip: TripView, who: PatientView) -> TripLine:
    days = VisitDays(trip.day, trip.window_end, trip.status, trip.is_unseen(hand.today))
    return TripLine(
        trip=trip,
        who=who,
        stands=lateness(days, hand.now, hand.zone),
        days=days_overdue(days, hand.today),
        reasons=(),
        stairs=None,
    )


def _stairs(hand: Hand, gist: PlanGist, trips: Iterable[TripView]) -> Staircase | None:
    visits = days_as_they_went(trips, hand)
    return draw_staircase(gist.courses, visits, today=hand.today, mirrored=hand.mirrored)


def _reasons(hand: Hand, trip: TripView, looks: PlanGist | None) -> tuple[LookedAt, ...]:
    """What the visit looks at, or looked at. A need that the plan no longer names goes by its kind."""
    keys = trip.served if trip.status == "fulfilled" else trip.serves
    if not trip.serves and not trip.services:
        return (LookedAt("", WITHOUT, None),)
    if not keys and looks:
        return tuple(LookedAt("", kind_words(hand, kind), eye) for kind, eye in looks.watched)
    needs = {need.key: need for need in looks.needs} if looks else {}
    return tuple(
        LookedAt(key, kind_words(hand, needs[key].kind), needs[key].eye)
        if key in needs
        else LookedAt(key, look_of_protocol(key, hand.protocol) if looks else LOST, None)
        for key in keys
    )
