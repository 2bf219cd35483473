"""A plan with its visits as they came about: done, done in part, missed, moved, to come; never as planned."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Literal

from followup.care.hand import Hand
from followup.clinical.careplan import CarePlan, Trip
from followup.drawings.staircase import Visit
from followup.records.views import TripView

Went = Literal["proposed", "booked", "arrived", "fulfilled", "noshow"]


def as_it_went(plan: CarePlan, trips: Iterable[TripView], hand: Hand) -> CarePlan:
    """The plan with the visits of the patient that took place, are to come, or were missed."""
    return plan.model_copy(update={"trips": visits_as_they_went(trips, hand)})


def visits_as_they_went(trips: Iterable[TripView], hand: Hand) -> tuple[Trip, ...]:
    """The visits of a patient that took place, are to come, or were missed."""
    return tuple(_drawn(trip, said) for trip in trips if (said := _went(trip, hand)))


def days_as_they_went(trips: Iterable[TripView], hand: Hand) -> tuple[Visit, ...]:
    """The same as the staircase draws them."""
    return tuple(Visit(trip.seen_on or trip.day, said) for trip in trips if (said := _went(trip, hand)))


def _went(trip: TripView, hand: Hand) -> Went | None:
    """How a visit came about; None where it never was one, such as one that a new plan replaced in time."""
    today = hand.today
    if trip.status == "cancelled":
        # A new plan ends the visits of the old one: what was missed by then was missed all the same.
        ended = trip.ended_at.astimezone(hand.zone).date() if trip.ended_at else date.min
        return "noshow" if trip.services and trip.day < ended else None
    if trip.status == "arrived":
        if not trip.is_unseen(today):
            return "proposed"
        # Who left when a part was looked at did not stay away, and is not done either.
        return "arrived" if trip.served else "noshow"
    if trip.status in ("proposed", "booked"):
        return "noshow" if trip.day < today else "booked" if trip.status == "booked" else "proposed"
    return "fulfilled" if trip.status == "fulfilled" else "noshow"


def _drawn(trip: TripView, said: Went) -> Trip:
    return Trip(
        number=trip.number,
        date=trip.seen_on or trip.day,
        status=said,
        serves=trip.serves,
        services=trip.services,
        window_start=trip.window_start,
        window_end=trip.window_end,
        tier=trip.tier,
    )
