"""A plan of a record handed on as FHIR without a database, and what its rounds say, counted day by day."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from fhir_rules import moments

from followup.clinical.careplan import CarePlan, Course
from followup.clinical.plan.keys_told import PlanNames
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Record
from followup.exchange.fhir.bundle import bundle_of
from followup.exchange.fhir.given import PatientToTell, PlanToTell, VisitToTell
from followup.records.views import Clinic, PatientView, PlanVersion

SAMPLE = load_protocol()
CLINIC = Clinic(
    name="Lantern Hill Eye Clinic",
    code="LH",
    phone_day="+44 20 7946 0101",
    phone_night="+44 20 7946 0102",
    zone="Asia/Kolkata",
)
SIGNER = "Dr Noor Example"


def told(
    record: Record, plan: CarePlan, *, signed: bool = True, clinic: Clinic = CLINIC, now: date | None = None
) -> PatientToTell:
    """The plan as version 1 of a patient; ``now`` is the day on which it is told, else the plan's own."""
    who = record.patient
    at = datetime.combine(plan.as_of, time(9), UTC)
    status = "active" if signed else plan.status
    version = PlanVersion(
        id=7,
        patient_id=3,
        patient_code=who.code,
        patient_name=who.name,
        number=1,
        status=status,
        record_number=1,
        as_of=plan.as_of,
        body=plan,
        edits=(),
        reason="",
        drafted_by="counsellor",
        drafted_at=at,
        signed_by=SIGNER if signed else None,
        signed_at=at if signed else None,
        ended_at=None,
        ended_reason=None,
        replaced_by=None,
    )
    names = PlanNames(plan, SAMPLE)
    visits = tuple(
        VisitToTell(
            key=f"7-{trip.number}",
            day=trip.date,
            status=trip.status,
            window=(trip.window_start, trip.window_end),
            for_what=tuple(names.look(key) for key in trip.serves),
            services=trip.services,
            hour=trip.hour,
        )
        for trip in plan.trips
    )
    born = who.birth_date, who.birth_year
    return PatientToTell(
        clinic=clinic,
        who=PatientView(3, who.code, who.name, *born, who.sex, who.language, who.telephones, (), 1),
        record=record,
        formulary=SAMPLE.formulary,
        now=datetime.combine(now or plan.as_of, time(9), UTC),
        plan=PlanToTell(version, plan, record, names, visits, "R-1"),
    )


def bundle(record: Record, plan: CarePlan, **more: Any) -> dict[str, Any]:
    return bundle_of(told(record, plan, **more))


def changed(of: PatientToTell, **visit: Any) -> dict[str, Any]:
    """The bundle with its first visit changed so."""
    assert of.plan is not None
    first, *rest = of.plan.visits
    return bundle_of(replace(of, plan=replace(of.plan, visits=(replace(first, **visit), *rest))))


def rounds_of(plan: CarePlan, key: str, rise: str) -> Counter[datetime]:
    """Each time the rounds say that this course goes in; one before rising is on the next calendar day."""
    found: Counter[datetime] = Counter()
    for phase in plan.rounds:
        for number in range((phase.end - phase.start).days + 1):
            day = phase.start + timedelta(days=number)
            for dose in phase.doses:
                if dose.course == key:
                    for clock in dose.times:
                        at = datetime.combine(day, time.fromisoformat(clock))
                        found[at + timedelta(days=clock < rise)] += 1
    return found


def counted(request: dict[str, Any], course: Course, plan: CarePlan) -> Counter[datetime]:
    """When the request says that the course goes in, from days before the rounds to days after them.

    Where nobody ordered a first or a last day the request has none, and only the days of the rounds count.
    """
    days = [day for phase in plan.rounds for day in (phase.start, phase.end)]
    if not days:
        return moments(request, plan.as_of - timedelta(days=9), plan.as_of + timedelta(days=400))
    first = min(days) if course.from_before else min(days) - timedelta(days=9)
    last = max(days) + timedelta(days=9)
    found = moments(request, first, last)
    if not course.goes_on:
        return found
    rise = last_rise(plan)
    return Counter({at: n for at, n in found.items() if at < rise})


def last_rise(plan: CarePlan) -> datetime:
    """When the day after the last one of the rounds begins, for whoever sleeps before its first round."""
    last = max(plan.rounds, key=lambda phase: phase.end)
    return datetime.combine(last.end + timedelta(days=1), time.fromisoformat(last.times[0]))
