"""An appointment for each visit of the patient."""

from __future__ import annotations

from datetime import datetime, time, timedelta

from followup.exchange.fhir.given import PatientToTell, PlanToTell, VisitToTell
from followup.exchange.fhir.values import Json, concept, day, instant, only, words

_AGREED = ("booked", "arrived", "fulfilled", "noshow")


def appointment(of: PatientToTell, told: PlanToTell, visit: VisitToTell) -> Json:
    """The appointment. A visit without an hour is any time of its day, and says so."""
    begins, ends = _when(of, visit)
    ended = visit.ended_reason if visit.status in ("cancelled", "noshow") else None
    start, end = visit.window
    return only(
        status=visit.status,
        cancelationReason=concept(ended) if ended else None,
        serviceType=[concept(service) for service in visit.services],
        reasonCode=[concept(reason) for reason in visit.for_what],
        description=words("; ".join(visit.for_what)),
        start=instant(begins),
        end=instant(ends),
        comment=_comment(visit),
        supportingInformation=[of.named.reference("CarePlan", told.version.id)],
        requestedPeriod=[{"start": day(start), "end": day(end)}],
        participant=[
            {
                "actor": of.named.reference("Patient", of.who.code, of.who.name),
                "required": "required",
                "status": "accepted" if visit.status in _AGREED else "needs-action",
            },
            {
                "actor": {"type": "Location", "display": words(visit.place or of.clinic.name)},
                "status": "accepted" if visit.status in _AGREED else "needs-action",
            },
        ],
    )


def _when(of: PatientToTell, visit: VisitToTell) -> tuple[datetime, datetime]:
    """At its hour, between the hours of its place, or the whole of the clinic's day.

    How long a visit lasts nobody writes down: one with an hour ends, for a program, when it begins.
    """
    if visit.hour:
        begins = _at(of, visit, visit.hour)
        return begins, begins
    if visit.opens and visit.closes:
        return _at(of, visit, visit.opens), _at(of, visit, visit.closes)
    begins = datetime.combine(visit.day, time(), of.zone)
    return begins, datetime.combine(visit.day + timedelta(days=1), time(), of.zone)


def _at(of: PatientToTell, visit: VisitToTell, hour: str) -> datetime:
    return datetime.combine(visit.day, time.fromisoformat(hour), of.zone)


def _comment(visit: VisitToTell) -> str:
    said = "" if visit.hour or visit.opens else "No hour is given: any time of this day. "
    return (
        said
        + ("How long it takes is not written down. " if visit.hour else "")
        + ("The day can't be moved." if visit.cannot_move else "")
    )
