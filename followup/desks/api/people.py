"""Patients, their plans, sheets and visits as a program is given them."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from followup.care.trips.trip_lines import TripLine
from followup.clinical.careplan import Tier
from followup.clinical.record import Eye, Phone
from followup.clinical.statuses import PlanStatus, TripStatus
from followup.desks.api.base import Given
from followup.recall.codes.codes import typed_code
from followup.recall.reach.lateness import Lateness
from followup.records.views import PatientView, PlanVersion, SheetView


class Person(Given):
    """Who a patient is. ``age`` is in whole years, a range where only the year of birth is known."""

    code: str
    name: str
    age: str
    eyes: list[Eye]
    language: str | None
    telephones: list[Phone]


class PlanLine(Given):
    """One version of a plan; ``questions`` counts those that are open."""

    id: int
    number: int
    status: PlanStatus
    record_number: int
    as_of: date
    reason: str
    signable: bool
    questions: int
    drafted_by: str
    drafted_at: datetime
    signed_by: str | None
    signed_at: datetime | None
    ended_at: datetime | None
    ended_reason: str | None


class SheetLine(Given):
    """A printed sheet; ``code`` is what a person types, with its check character."""

    id: str
    code: str
    plan: int
    issue: int
    language: str
    printed_at: datetime
    printed_by: str
    reason: str
    handed_over_at: datetime | None
    handed_to: str | None
    how: Literal["paper", "telephone"] | None
    replaced: bool


class Check(Given):
    """One thing that a visit looks at; ``key`` is empty where no need of its own asks for it."""

    key: str
    text: str
    eye: Eye | None


class VisitOut(Given):
    """One visit and how it stands today; ``days`` counts those past the last possible one.

    ``served`` are the keys of ``for_what`` that were looked at, by findings or said by a person.
    ``place``, ``opens`` and ``closes`` say where and when, where that is not the clinic as on other days.
    """

    id: int
    patient: Person
    day: date
    hour: str | None
    place: str | None
    opens: str | None
    closes: str | None
    window_start: date
    window_end: date
    status: TripStatus
    stands: Lateness
    days: int
    tier: Tier
    for_what: list[Check]
    served: list[str]
    arrived_at: datetime | None
    left_at: datetime | None


def person_of(who: PatientView, today: date) -> Person:
    return Person.of(who, age=who.age_on(today))


def plan_line(version: PlanVersion) -> PlanLine:
    return PlanLine.of(version, signable=version.body.signable, questions=len(version.body.questions))


def sheet_line(sheet: SheetView) -> SheetLine:
    return SheetLine.of(
        sheet, code=typed_code(sheet.id), plan=sheet.plan_id, replaced=sheet.replaced_at is not None
    )


def visit_out(line: TripLine, today: date) -> VisitOut:
    return VisitOut.of(
        line.trip,
        patient=person_of(line.who, today),
        stands=line.stands,
        days=line.days,
        for_what=line.reasons,
    )
