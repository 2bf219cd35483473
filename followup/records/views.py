"""What the store hands out: frozen values, never rows, so nothing depends on an open session."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import CarePlan, Tier
from followup.clinical.record import Eye, Phone, Record
from followup.clinical.record.ages import age_words
from followup.clinical.statuses import PlanStatus, TripStatus
from followup.records.duties import PROGRAM

TransitionKind = Literal["late", "overdue"]


@dataclass(frozen=True)
class Actor:
    """Who does something, at one site or (None) at all; without a role nothing that changes care.

    The program itself is :data:`SYSTEM`.
    """

    login: str
    roles: frozenset[str] = frozenset()
    name: str = ""
    registration: str = ""
    site: int | None = None


SYSTEM = Actor("system", frozenset({PROGRAM}))


@dataclass(frozen=True)
class Clinic:
    """The clinic's own data: ``zone`` is an IANA name, ``calendar`` JSON, ``code`` stands in the QR.

    ``cap_colours``: the caps of its bottles have the colours that the formulary names, so that sheets
    may draw them. ``days_to_tick``: its sheets have them, where nobody chose otherwise. ``keep_years``: for
    how many years after the last visit a record is kept; None: nobody said.
    """

    name: str
    code: str
    phone_day: str
    phone_night: str
    zone: str
    nearest_eye_clinic: str = ""
    address: str = ""
    sheet_languages: tuple[str, ...] = ("en",)
    staff_language: str = "en"
    is_sample: bool = False
    calendar: str = "{}"
    cap_colours: bool = False
    days_to_tick: bool = False
    keep_years: int | None = None


@dataclass(frozen=True)
class Staff:
    """A member of staff; ``password_hash`` is an Argon2id string.

    ``language`` of the pages: a tag, empty where it is the clinic's. ``password_own``: the person chose it;
    else it signs nothing. ``reset_by``: who last set another one for this person, at ``reset_at``.
    ``second_key``: of the codes that the log-in asks for, sealed; it counts from ``second_since`` on, and
    ``second_step`` was the last one taken.
    """

    id: int
    login: str
    name: str
    registration: str
    roles: frozenset[str]
    password_hash: str = field(repr=False)
    active: bool
    site: int | None = None
    language: str = ""
    password_own: bool = True
    reset_by: str = ""
    reset_at: datetime | None = None
    second_key: str = field(default="", repr=False)
    second_since: datetime | None = None
    second_step: int = 0

    @property
    def actor(self) -> Actor:
        return Actor(self.login, self.roles, self.name, self.registration, self.site)

    @property
    def mark(self) -> str:
        """What a form sends back, so that it changes only what it has seen; tells nothing itself."""
        seen = "\0".join((*sorted(self.roles), str(self.active), self.password_hash))
        return hashlib.sha256(seen.encode()).hexdigest()[:16]


@dataclass(frozen=True)
class LoginSession:
    """A log-in that is in force, with whose it is."""

    id: str = field(repr=False)
    staff: Staff
    created_at: datetime
    last_seen: datetime
    expires_at: datetime
    reauthenticated_at: datetime | None


@dataclass(frozen=True)
class OpenSession:
    """One of a person's log-ins that are in force; ``name`` stands for it on a page and opens nothing.

    ``browser``: what it calls itself.
    """

    id: str = field(repr=False)
    name: str
    created_at: datetime
    last_seen: datetime
    browser: str


@dataclass(frozen=True)
class AskedRole:
    """Roles of medicine that ``asked_by`` (a log-in name) wants the person ``login`` to have."""

    id: int
    login: str
    name: str
    roles: tuple[str, ...]
    asked_by: str
    asked_by_name: str
    asked_at: datetime


@dataclass(frozen=True)
class PatientView:
    """Who a patient is, as reception must see it before anything is stored."""

    id: int
    code: str
    name: str
    birth_date: date | None
    birth_year: int | None
    sex: str | None
    language: str | None
    telephones: tuple[Phone, ...]
    eyes: tuple[Eye, ...]
    record_number: int

    def age_on(self, day: date) -> str:
        """Whole years on ``day``; where only the year of birth is known, both it could be ("70-71")."""
        return age_words(self.birth_date, self.birth_year, day)


@dataclass(frozen=True)
class RecordVersion:
    """One version of a patient's operative record."""

    patient_id: int
    number: int
    record: Record
    entered_by: str
    entered_at: datetime


@dataclass(frozen=True)
class KeptTelling:
    """An operation as it was told, stored with version ``record_number`` of the record.

    ``asked``: the fields that were doubtful, each answered by ``told_by``; ``sha256`` is that of the text.
    """

    patient_id: int
    record_number: int
    eye: Eye
    day: date
    language: str
    text: str
    asked: tuple[str, ...]
    told_by: str
    told_at: datetime

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.text.encode()).hexdigest()


@dataclass(frozen=True)
class OperationOnDay:
    """A line of the day's operations: expected by the list, entered, or both.

    ``patient_id`` is set as soon as the code is known, even if this operation is not entered yet.
    """

    day: date
    patient_code: str
    name: str
    eye: Eye
    on_list: bool
    entered: bool
    patient_id: int | None
    surgeon: str | None
    plan_status: PlanStatus | None = None


@dataclass(frozen=True)
class PlanVersion:
    """One version of a care plan. ``status`` is the truth; the body repeats it."""

    id: int
    patient_id: int
    patient_code: str
    patient_name: str
    number: int
    status: PlanStatus
    record_number: int
    as_of: date
    body: CarePlan
    edits: tuple[Adjustment, ...]
    reason: str
    drafted_by: str
    drafted_at: datetime
    signed_by: str | None
    signed_at: datetime | None
    ended_at: datetime | None
    ended_reason: str | None
    replaced_by: int | None


@dataclass(frozen=True)
class TripView:
    """One visit of a signed plan, with whose it is.

    ``given``: it stands whatever the calendar says, because someone decided its day or is on call.
    ``place``, ``opens`` and ``closes`` say where and when, where that is not the clinic as on other days.
    """

    id: int
    patient_id: int
    patient_code: str
    patient_name: str
    plan_id: int
    number: int
    day: date
    window_start: date
    window_end: date
    status: TripStatus
    serves: tuple[str, ...]
    services: tuple[str, ...]
    tier: Tier
    cannot_move: bool
    overbooked: tuple[str, ...]
    arrived_at: datetime | None
    seen_on: date | None
    fulfilled_at: datetime | None
    served: tuple[str, ...]
    ended_reason: str | None
    left_at: datetime | None = None
    ended_at: datetime | None = None
    given: bool = False
    place: str | None = None
    opens: str | None = None
    closes: str | None = None
    hour: str | None = None

    def is_unseen(self, today: date) -> bool:
        """Whether the patient was here and is not any more, and no look is written down."""
        return self.status == "arrived" and (self.left_at is not None or self.seen_on != today)


@dataclass(frozen=True)
class SheetView:
    """A printed sheet. ``id`` is the recall id without its check character."""

    id: str
    patient_id: int
    patient_code: str
    plan_id: int
    plan_number: int
    issue: int
    language: str
    printed_at: datetime
    printed_by: str
    reason: str
    handed_over_at: datetime | None
    handed_over_by: str | None
    handed_to: str | None
    how: Literal["paper", "telephone"] | None
    replaced_at: datetime | None
    replaced_by_plan: int | None


@dataclass(frozen=True)
class FoundSheet:
    """A scanned sheet: ``current`` says whether it is in force; ``in_force`` is the plan that is.

    ``give_instead`` is the newest printed sheet of the plan in force, when another sheet was scanned.
    ``completed_at``: no plan is in force any more since the last one completed then.
    """

    sheet: SheetView
    patient: PatientView
    current: bool
    in_force: int | None
    give_instead: SheetView | None
    completed_at: datetime | None = None


@dataclass(frozen=True)
class ProtocolSignature:
    """Who approved the protocol with this hash, and when."""

    hash: str
    name: str
    version: str
    signer: str
    registration: str
    signed_at: datetime


@dataclass(frozen=True)
class Transition:
    """A trip turned late or overdue at ``became_at``; seen by the program at ``noticed_at``."""

    trip_id: int
    kind: TransitionKind
    became_at: datetime
    noticed_at: datetime


@dataclass(frozen=True)
class Heartbeat:
    """The last sign of life of a recurring job."""

    name: str
    at: datetime
    ok: bool
    rows: int
    message: str


@dataclass(frozen=True)
class DailyRun:
    """A job of one local day: when it was begun and finished, and what came of it."""

    job: str
    day: date
    claimed_at: datetime
    finished_at: datetime | None
    outcome: str
