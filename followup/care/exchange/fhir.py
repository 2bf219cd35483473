"""A patient handed on as FHIR: the plan in force, else the newest one, with what was done and seen."""

from __future__ import annotations

from followup.care.hand import Hand
from followup.care.sheets.content import plan_now
from followup.care.trips.trip_lines import visit_lines
from followup.clinical.careplan import CarePlan
from followup.clinical.plan.keys_told import PlanNames
from followup.exchange.fhir.bundle import bundle_of
from followup.exchange.fhir.given import PatientToTell, PlanToTell, VisitToTell
from followup.exchange.fhir.values import Json
from followup.records.desk.attempts import standing_of
from followup.records.people.patients import known, newest_record, record_version
from followup.records.plans.bound import SIGNED
from followup.records.plans.plans import active_plan, plans_of
from followup.records.plans.protocols import protocol_signature
from followup.records.store.journal import journal_of
from followup.records.store.store import Session
from followup.records.trips.trips import trips_of
from followup.records.views import PatientView, PlanVersion


def patient_bundle(hand: Hand, code: str) -> Json:
    """Everything of the patient with this code as a bundle. Error ``patient.unknown``."""
    with hand.store.read() as session:
        who = known(session, code)
        standing = standing_of(session, who.id)
        version = active_plan(session, who.id) or next(iter(plans_of(session, who.id)), None)
        told = PatientToTell(
            clinic=hand.clinic,
            who=who,
            record=newest_record(session, who.id).record,
            formulary=hand.protocol.formulary,
            now=hand.now,
            plan=_plan(session, hand, who, version) if version else None,
            died=standing is not None and standing.standing == "died",
        )
    return bundle_of(told)


def _plan(session: Session, hand: Hand, who: PatientView, version: PlanVersion) -> PlanToTell:
    plan = plan_now(session, version)
    signed = version.signed_at is not None
    names = PlanNames(plan, hand.protocol)
    return PlanToTell(
        version=version,
        plan=plan,
        planned_from=record_version(session, who.id, version.record_number).record,
        names=names,
        visits=_visits(session, hand, who) if signed else _drafted(version, plan, names),
        registration=_registration(session, version) if signed else "",
        approved=protocol_signature(session, version.body.protocol_hash),
    )


def _visits(session: Session, hand: Hand, who: PatientView) -> tuple[VisitToTell, ...]:
    """Every visit of the patient, of earlier plans too, as it stands."""
    lines = visit_lines(session, hand, trips_of(session, who.id))
    return tuple(
        VisitToTell(
            key=str(trip.id),
            day=trip.day,
            status=trip.status,
            window=(trip.window_start, trip.window_end),
            for_what=tuple(
                f"{reason.text} ({reason.eye} eye)" if reason.eye else str(reason.text)
                for reason in line.reasons
            ),
            services=trip.services,
            hour=trip.hour,
            place=trip.place,
            opens=trip.opens,
            closes=trip.closes,
            ended_reason=trip.ended_reason,
            cannot_move=trip.cannot_move,
        )
        for line in lines
        for trip in (line.trip,)
    )


def _drafted(version: PlanVersion, plan: CarePlan, names: PlanNames) -> tuple[VisitToTell, ...]:
    """The visits of a plan that nobody signed: proposals, whatever the record says of them."""
    return tuple(
        VisitToTell(
            key=f"{version.id}-{trip.number}",
            day=trip.date,
            status="proposed" if trip.status == "booked" else trip.status,
            window=(trip.window_start, trip.window_end),
            for_what=tuple(names.look(key) for key in trip.serves),
            services=trip.services,
            hour=trip.hour,
            place=trip.place,
            opens=trip.hours[0] if trip.hours else None,
            closes=trip.hours[1] if trip.hours else None,
            cannot_move=trip.cannot_move,
        )
        for trip in plan.trips
    )


def _registration(session: Session, version: PlanVersion) -> str:
    """The number under which whoever signed is registered, as it stood then."""
    entries = journal_of(session, f"patient:{version.patient_code}")
    own = (one.details for one in entries if one.action == SIGNED and one.details["id"] == version.id)
    return next((str(said.get("registration") or "") for said in own), "")
