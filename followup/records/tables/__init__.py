"""Every table of the store. Import from here: mapping needs all of them."""

from __future__ import annotations

from followup.records.tables.alerts import ALERTS, AlertRow, LeavingCheckRow
from followup.records.tables.base import metadata
from followup.records.tables.clinic import (
    ROLES,
    AskedRoleRow,
    ClinicRow,
    LoginSessionRow,
    StaffRow,
    WrongLoginRow,
)
from followup.records.tables.desks import (
    HandingRow,
    ListImportRow,
    ListMappingRow,
    SheetChoiceRow,
    StockCountRow,
    TeachBackRow,
)
from followup.records.tables.people import (
    ErasedRow,
    NamePartRow,
    OpeningRow,
    OperationListRow,
    OperationRow,
    PatientKeyRow,
    PatientRow,
    RecordVersionRow,
    TellingRow,
)
from followup.records.tables.plans import (
    CarePlanRow,
    HandOutDayRow,
    PlaceRow,
    SheetRow,
    TripRow,
    TripTransitionRow,
)
from followup.records.tables.recall import (
    MESSAGE_KINDS,
    OUTCOMES,
    READERS,
    STANDINGS,
    WAYS,
    ContactAttemptRow,
    MessageChoiceRow,
    MessageRow,
    SiteRow,
    StandingRow,
)
from followup.records.tables.upkeep import (
    DailyRunRow,
    HeartbeatRow,
    JournalRow,
    LeaseRow,
    ProtocolSignatureRow,
)

__all__ = [
    "ALERTS",
    "MESSAGE_KINDS",
    "OUTCOMES",
    "READERS",
    "ROLES",
    "STANDINGS",
    "WAYS",
    "AlertRow",
    "AskedRoleRow",
    "CarePlanRow",
    "ClinicRow",
    "ContactAttemptRow",
    "DailyRunRow",
    "ErasedRow",
    "HandOutDayRow",
    "HandingRow",
    "HeartbeatRow",
    "JournalRow",
    "LeaseRow",
    "LeavingCheckRow",
    "ListImportRow",
    "ListMappingRow",
    "LoginSessionRow",
    "MessageChoiceRow",
    "MessageRow",
    "NamePartRow",
    "OpeningRow",
    "OperationListRow",
    "OperationRow",
    "PatientKeyRow",
    "PatientRow",
    "PlaceRow",
    "ProtocolSignatureRow",
    "RecordVersionRow",
    "SheetChoiceRow",
    "SheetRow",
    "SiteRow",
    "StaffRow",
    "StandingRow",
    "StockCountRow",
    "TeachBackRow",
    "TellingRow",
    "TripRow",
    "TripTransitionRow",
    "WrongLoginRow",
    "metadata",
]
