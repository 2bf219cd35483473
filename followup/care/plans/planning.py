"""From a stored record to a stored draft: the one place where the desks have a plan built."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from followup.care.hand import Hand
from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import CarePlan
from followup.clinical.day_plan import DayPhase
from followup.clinical.plan.build import build_plan
from followup.clinical.record import Record, TripRecord
from followup.records.people.patients import newest_record
from followup.records.plans.plans import active_plan, plans_of, store_draft
from followup.records.store.store import Session, Unit
from followup.records.trips.places import planning_calendar
from followup.records.trips.trips import trips_of
from followup.records.views import PlanVersion, RecordVersion, TripView
from followup.timing.calendar import Calendar

# The kind of look that every visit has, whatever else it is for.
BETWEEN = "pressure"
_TO_RECORD = ("booked", "arrived", "fulfilled", "noshow")


def draft_plan(
    unit: Unit,
    hand: Hand,
    patient_id: int,
    *,
    edits: tuple[Adjustment, ...] | None = None,
    reason: str = "",
    seen: int | None = None,
) -> PlanVersion:
    """Build the plan of the newest record and store it as the draft.

    ``edits``: the surgeon's changes; None keeps those of the newest version. ``seen``: the newest
    version that the person looked at. Errors: those of the plan and of ``store_draft``.
    """
    version = newest_record(unit.session, patient_id)
    kept = newest_edits(unit.session, patient_id) if edits is None else edits
    return store_draft(
        unit,
        patient_id=patient_id,
        record_number=version.number,
        body=planned(unit.session, hand, version, kept),
        edits=kept,
        reason=reason,
        seen=seen,
    )


def planned(session: Session, hand: Hand, version: RecordVersion, edits: tuple[Adjustment, ...]) -> CarePlan:
    """The plan of ``version`` as of today, beside what the clinic has already promised and done."""
    record, patient_id = version.record, version.patient_id
    as_of = max(hand.today, record.last_operation_day)
    in_force = active_plan(session, patient_id)
    return build_plan(
        with_visits(record, trips_of(session, patient_id), as_of),
        hand.protocol,
        as_of=as_of,
        calendar=planning_calendar(session, patient_id),
        edits=edits,
        previous_times=times_on(in_force.body, as_of) if in_force else None,
        previous_own=own_times_on(in_force.body, as_of) if in_force else None,
        approved=hand.approved,
    )


def planned_first(hand: Hand, record: Record, calendar: Calendar) -> CarePlan:
    """The first plan of somebody who is not in the store yet, by the clinic's ``calendar`` with the places
    that are taken: what :func:`planned` gives as soon as the record is entered.
    """
    as_of = max(hand.today, record.last_operation_day)
    return build_plan(record, hand.protocol, as_of=as_of, calendar=calendar, approved=hand.approved)


def newest_edits(session: Session, patient_id: int) -> tuple[Adjustment, ...]:
    """The edits of the patient's newest plan version; none before the first."""
    versions = plans_of(session, patient_id)
    return versions[0].edits if versions else ()


def with_visits(record: Record, trips: Iterable[TripView], as_of: date) -> Record:
    """The record together with the visits that the clinic has booked, seen or missed since.

    A visit that the record itself names for the same day is not counted twice; one that was for more than
    the record says of that day stays. Being here is no look: a visit under way counts for what findings or
    a person have closed of it, and whoever came without a visit was seen as far as the findings of that day
    tell.
    """
    named = [(trip.date, frozenset(trip.served)) for trip in record.trips]

    def told(trip: TripView) -> bool:
        mine = [served for day, served in named if day == (trip.seen_on or trip.day)]
        return any(not served or served.issuperset(trip.serves) for served in mine)

    since = tuple(
        TripRecord(
            date=trip.seen_on or trip.day,
            status=trip.status,
            cannot_move=trip.cannot_move,
            hour=trip.hour if trip.status == "booked" else None,
            served=trip.serves if trip.status == "noshow" else _served(trip),
        )
        for trip in trips
        if trip.status in _TO_RECORD and not told(trip)
        if trip.status not in ("arrived", "fulfilled") or _served(trip)
        if trip.status != "booked" or trip.day >= as_of
    )
    return record.model_copy(update={"trips": record.trips + since}) if since else record


def _served(trip: TripView) -> tuple[str, ...]:
    """What the visit has looked at. One that only keeps the time between two checks short measures the
    pressure, as every visit does."""
    between = trip.status == "fulfilled" and not trip.serves and bool(trip.services)
    return (BETWEEN,) if between else trip.served


def times_on(plan: CarePlan, day: date) -> frozenset[str]:
    """The clock times of the sheet in force on ``day``, or of its next phase."""
    phase = _phase_on(plan, day)
    return frozenset(phase.times) if phase else frozenset()


def own_times_on(plan: CarePlan, day: date) -> dict[str, frozenset[str]]:
    """Those of each course that is given then."""
    phase = _phase_on(plan, day)
    return {dose.course: frozenset(dose.times) for dose in phase.doses} if phase else {}


def _phase_on(plan: CarePlan, day: date) -> DayPhase | None:
    return next((p for p in plan.rounds if p.end >= day), None)
