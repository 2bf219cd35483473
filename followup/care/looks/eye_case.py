"""One eye of one patient: what was seen, what is planned, what is due, what was decided."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from followup.care.act import OneEye
from followup.care.hand import Hand
from followup.care.records.recording import known_patient
from followup.care.trips.trip_lines import TripLine, visit_lines
from followup.clinical.careplan import CarePlan, Course
from followup.clinical.record import Findings, Record
from followup.clinical.words.why_reasons import because_of
from followup.errors import FollowupError
from followup.records.people.patients import newest_record
from followup.records.plans.plans import plans_of
from followup.records.store.journal import JournalEntry, journal_of
from followup.records.store.store import Session
from followup.records.trips.trips import trips_of
from followup.records.views import PatientView, PlanVersion, RecordVersion, TripView
from followup.said import say

DECIDED = "proposals decided"


@dataclass(frozen=True)
class NotTaken:
    """A course that is held or stopped; ``why`` in English sentences of the core."""

    course: Course
    why: tuple[str, ...]


@dataclass(frozen=True)
class EyeCase:
    """One eye of one patient with all that its pages show."""

    who: PatientView
    eye: OneEye
    version: RecordVersion
    plans: tuple[PlanVersion, ...]
    lines: tuple[TripLine, ...]
    decided: tuple[JournalEntry, ...]
    trips: tuple[TripView, ...]

    @property
    def record(self) -> Record:
        return self.version.record

    @property
    def newest(self) -> PlanVersion | None:
        return next(iter(self.plans), None)

    @property
    def plan_number(self) -> int:
        """The number of the newest plan; 0 before the first."""
        return self.newest.number if self.newest else 0

    @property
    def in_force(self) -> PlanVersion | None:
        return next((plan for plan in self.plans if plan.status == "active"), None)

    @property
    def completed(self) -> PlanVersion | None:
        """The plan that completed last, where none is in force since."""
        ended = (plan for plan in self.plans if plan.status == "completed")
        return None if self.in_force else next(ended, None)

    @property
    def operated(self) -> tuple[date, ...]:
        """The days on which this eye was operated on."""
        return tuple(sorted(o.date for o in self.record.operations if o.eye == self.eye))

    @property
    def looks(self) -> tuple[Findings, ...]:
        """What was seen of this eye, newest first."""
        mine = (look for look in self.record.reviews if look.eye == self.eye)
        return tuple(sorted(mine, key=lambda look: (look.date, look.time or ""), reverse=True))

    @property
    def signed(self) -> tuple[CarePlan, ...]:
        """The signed versions, oldest first; the last is in force, or was until it ended."""
        return tuple(plan.body for plan in reversed(self.plans) if plan.signed_at)

    @property
    def courses(self) -> tuple[Course, ...]:
        """The courses of this eye and those by mouth, of the plan in force."""
        body = self.in_force.body if self.in_force else None
        return tuple(c for c in body.courses if c.eye in (self.eye, None)) if body else ()

    def taken(self, day: date) -> tuple[Course, ...]:
        """What is put in, or taken, on ``day``: nothing that is held or stopped."""
        return tuple(c for c in self.courses if c.state == "active" and c.count_on(day))

    def not_taken(self, day: date) -> tuple[NotTaken, ...]:
        """What the plan names and is not given from ``day`` on, with why."""
        body = self.in_force.body if self.in_force else None
        asked = {question.id: question.text for question in body.questions} if body else {}
        return tuple(
            NotTaken(course, _why_not(course, asked))
            for course in self.courses
            if course.state != "active" and (course.last_day is None or course.last_day >= day)
        )

    def day_of(self, day: date) -> int:
        """Days after the latest operation up to ``day``."""
        before = [start for start in self.operated if start <= day]
        return (day - max(before, default=self.operated[0])).days


def _why_not(course: Course, asked: Mapping[str, str]) -> tuple[str, ...]:
    """A held course waits for its questions; a stopped one is stopped by what was said last."""
    if course.state == "held":
        return tuple(asked.get(name, name) for name in course.held_by)
    return tuple(because_of(reason) for reason in course.reasons[-1:])


def eye_case(hand: Hand, code: str, eye: OneEye) -> EyeCase:
    """The eye's case. Errors: ``patient.unknown``, ``eye.unknown`` where it was never operated on."""
    who = known_patient(hand, code)
    if eye not in who.eyes:
        raise FollowupError(
            "eye.unknown",
            say("the {eye} eye was not operated on", eye=eye),
            fix=say("open the patient and choose the eye"),
        )
    with hand.store.read() as session:
        return _case(session, hand, who, eye)


def _case(session: Session, hand: Hand, who: PatientView, eye: OneEye) -> EyeCase:
    trips = trips_of(session, who.id)
    kept = tuple(t for t in trips if t.status != "cancelled")
    lines = tuple(line for line in visit_lines(session, hand, kept) if eye in line.eyes)
    decided = tuple(
        entry
        for entry in journal_of(session, f"patient:{who.code}")
        if entry.action == DECIDED and entry.details.get("eye") == eye
    )
    return EyeCase(
        who, eye, newest_record(session, who.id), plans_of(session, who.id), lines, decided[::-1], trips
    )
