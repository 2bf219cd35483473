"""What a bundle is made of: views of one patient, and what was said of the plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from followup.clinical.careplan import CarePlan
from followup.clinical.plan.course_table import CourseTable, course_table
from followup.clinical.plan.keys_told import PlanNames
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.record import Record
from followup.clinical.statuses import TripStatus
from followup.exchange.fhir.values import ClinicNames
from followup.records.views import Clinic, PatientView, PlanVersion, ProtocolSignature


@dataclass(frozen=True)
class VisitToTell:
    """One visit. ``key`` names it for good; ``for_what`` and ``services`` are in words.

    ``opens`` and ``closes``: between which hours, where the visit has hours of its own.
    """

    key: str
    day: date
    status: TripStatus
    window: tuple[date, date]
    for_what: tuple[str, ...]
    services: tuple[str, ...]
    hour: str | None = None
    place: str | None = None
    opens: str | None = None
    closes: str | None = None
    ended_reason: str | None = None
    cannot_move: bool = False


@dataclass(frozen=True)
class PlanToTell:
    """A version of the plan with the record that it was made from, and the visits as they stand now.

    ``registration`` is that of whoever signed it, ``approved`` who signed its protocol.
    """

    version: PlanVersion
    plan: CarePlan
    planned_from: Record
    names: PlanNames
    visits: tuple[VisitToTell, ...]
    registration: str = ""
    approved: ProtocolSignature | None = None

    @property
    def signed(self) -> bool:
        return self.version.signed_at is not None

    @cached_property
    def table(self) -> CourseTable:
        return course_table(self.plan)


@dataclass(frozen=True)
class PatientToTell:
    """One patient of ``clinic`` as known at ``now``. ``died``: that was noted."""

    clinic: Clinic
    who: PatientView
    record: Record
    formulary: Mapping[str, Medicine]
    now: datetime
    plan: PlanToTell | None = None
    died: bool = False

    @cached_property
    def named(self) -> ClinicNames:
        return ClinicNames(self.clinic.code)

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.clinic.zone)

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()
