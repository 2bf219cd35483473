"""What the store knows that may put someone on the list to reach, read as far as it can be read."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TypeVar

from followup.clinical.words.gist import PlanGist
from followup.records.desk.attempts import AttemptView, FollowStanding, attempts_of, standings
from followup.records.desk.leaving import unseen_ids
from followup.records.house.clinics import clinic_zone
from followup.records.people.patients import bare_patient, patients_by_id
from followup.records.plans.listed import (
    ListedPlan,
    drafts_waiting,
    listed_plan,
    plan_gists,
    plans_by_hand,
    plans_not_handed_over,
)
from followup.records.plans.plans import plan_ids_to_look_at, plans_in_force
from followup.records.store.store import Session
from followup.records.trips.closed import visits_ahead, visits_to_move
from followup.records.trips.trips import (
    days_seen,
    patient_of_trip,
    trip,
    trip_ids_past_window,
    trips_past_window,
    trips_with_ids,
)
from followup.records.views import PatientView, TripView

# What reading a damaged entry raises: not JSON, not the type that it should be, a key that is not there.
DAMAGE = (ValueError, TypeError, KeyError)
_log = logging.getLogger(__name__)
T = TypeVar("T")


@dataclass(frozen=True)
class Open:
    """Whoever may be one to reach. ``damaged``: patients with an entry that can't be read.

    ``closed``: visits to come on a day that does not offer what they are for. ``unseen``: visits of an
    earlier day without findings. ``seen``: for each
    patient the visits that took place, as (visit id, day). ``standings``: who is not followed any more.
    """

    trips: tuple[TripView, ...]
    closed: tuple[TripView, ...]
    unseen: tuple[TripView, ...]
    by_hand: tuple[ListedPlan, ...]
    drafts: tuple[ListedPlan, ...]
    not_handed_over: tuple[ListedPlan, ...]
    in_force: frozenset[int]
    patients: Mapping[int, PatientView]
    gists: Mapping[int, PlanGist]
    seen: Mapping[int, tuple[tuple[int, date], ...]] = field(default_factory=dict)
    damaged: frozenset[int] = frozenset()
    standings: Mapping[int, FollowStanding] = field(default_factory=dict)
    attempts: Mapping[int, tuple[AttemptView, ...]] = field(default_factory=dict)


def load_open(session: Session, now: datetime, patient: int | None = None) -> Open:
    """Everything that may put someone on the list at ``now``; ``patient``: that one alone.

    An entry that can't be read takes nobody else off the list; its patient is named as damaged.
    """
    today = now.astimezone(clinic_zone(session)).date()
    trips, bad_trips = _trips(session, today, patient)
    closed, bad_ahead = _closed(session, today, patient)
    by_hand, drafts, new, bad_plans = _plans(session, patient)
    unseen, bad_unseen = _unseen(session, today, patient)
    damaged = bad_trips | bad_ahead | bad_plans | bad_unseen
    visits = (*trips, *closed, *unseen)
    people = {one.patient_id for one in visits} | damaged
    people |= {one.patient_id for one in (*by_hand, *drafts, *new)}
    patients, bad_people = _patients(session, people)
    return Open(
        trips=trips,
        closed=closed,
        unseen=unseen,
        by_hand=by_hand,
        drafts=drafts,
        not_handed_over=new,
        in_force=plans_in_force(session, {one.patient_id for one in drafts}),
        patients=patients,
        gists=plan_gists(session, {one.plan_id for one in visits}),
        seen=days_seen(session, people),
        damaged=frozenset(damaged | bad_people),
        standings=standings(session, people),
        attempts=attempts_of(session, people),
    )


def load_closed(session: Session, now: datetime) -> Open:
    """The same of visits to come on a day that does not offer what they are for, and of nothing else."""
    closed, _bad = _closed(session, now.astimezone(clinic_zone(session)).date(), None)
    people = {one.patient_id for one in closed}
    return Open(
        trips=(),
        closed=closed,
        unseen=(),
        by_hand=(),
        drafts=(),
        not_handed_over=(),
        in_force=frozenset(),
        patients=_patients(session, people)[0],
        gists=plan_gists(session, {one.plan_id for one in closed}),
        standings=standings(session, people),
    )


def _trips(session: Session, today: date, patient: int | None) -> tuple[tuple[TripView, ...], set[int]]:
    found = _or_none(lambda: trips_past_window(session, today, patient))
    if found is not None:
        return found, set()
    return _visits_one_by_one(session, trip_ids_past_window(session, today, patient))


def _unseen(session: Session, today: date, patient: int | None) -> tuple[tuple[TripView, ...], set[int]]:
    numbers = unseen_ids(session, today, patient)
    found = _or_none(lambda: trips_with_ids(session, numbers))
    return (found, set()) if found is not None else _visits_one_by_one(session, numbers)


def _visits_one_by_one(session: Session, numbers: Iterable[int]) -> tuple[tuple[TripView, ...], set[int]]:
    good, bad = _one_by_one(numbers, lambda number: trip(session, number))
    return good, {patient_of_trip(session, number) for number in bad}


def _closed(session: Session, today: date, patient: int | None) -> tuple[tuple[TripView, ...], set[int]]:
    found = _or_none(lambda: visits_to_move(session, today, patient=patient))
    if found is not None:
        return found, set()
    numbers = visits_ahead(session, today, patient)
    good, bad = _one_by_one(numbers, lambda number: visits_to_move(session, today, number))
    return tuple(each for one in good for each in one), {patient_of_trip(session, number) for number in bad}


def _plans(
    session: Session, patient: int | None
) -> tuple[tuple[ListedPlan, ...], tuple[ListedPlan, ...], tuple[ListedPlan, ...], set[int]]:
    found = _or_none(
        lambda: (
            plans_by_hand(session, patient),
            drafts_waiting(session, patient),
            plans_not_handed_over(session, patient),
        )
    )
    if found is not None:
        return *found, set()
    owners = dict(plan_ids_to_look_at(session, patient))
    good, bad = _one_by_one(owners, lambda number: listed_plan(session, number))
    by_status = {
        status: tuple(one for one in good if one.status == status)
        for status in ("on-hold", "draft", "active")
    }
    return by_status["on-hold"], by_status["draft"], by_status["active"], {owners[number] for number in bad}


def _patients(session: Session, people: set[int]) -> tuple[dict[int, PatientView], set[int]]:
    found = _or_none(lambda: patients_by_id(session, people))
    if found is not None:
        return found, set()
    good, bad = _one_by_one(people, lambda number: patients_by_id(session, {number})[number])
    bare = {number: bare_patient(session, number) for number in bad}
    return {**{one.id: one for one in good}, **bare}, set(bad)


def _or_none(read: Callable[[], T]) -> T | None:
    try:
        return read()
    except DAMAGE:
        _log.exception("an entry can't be read; reading one by one")
        return None


def _one_by_one(numbers: Iterable[int], read: Callable[[int], T]) -> tuple[tuple[T, ...], list[int]]:
    good, bad = [], []
    for number in numbers:
        try:
            good.append(read(number))
        except DAMAGE:
            bad.append(number)
    return tuple(good), bad
