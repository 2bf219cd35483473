"""Every table of the store. Import from here: mapping needs all of them."""

from __future__ import annotations

from followup.records.tables.base import metadata
from followup.records.tables.clinic import ROLES, ClinicRow, LoginSessionRow, StaffRow
from followup.records.tables.people import OperationListRow, OperationRow, PatientRow, RecordVersionRow
from followup.records.tables.plans import (
    CarePlanRow,
    PlaceRow,
    SheetRow,
    TripRow,
    TripTransitionRow,
)
from followup.records.tables.upkeep import (
    DailyRunRow,
    HeartbeatRow,
    JournalRow,
    LeaseRow,
    ProtocolSignatureRow,
)

__all__ = [
    "ROLES",
    "CarePlanRow",
    "ClinicRow",
    "DailyRunRow",
    "HeartbeatRow",
    "JournalRow",
    "LeaseRow",
    "LoginSessionRow",
    "OperationListRow",
    "OperationRow",
    "PatientRow",
    "PlaceRow",
    "ProtocolSignatureRow",
    "RecordVersionRow",
    "SheetRow",
    "StaffRow",
    "TripRow",
    "TripTransitionRow",
    "metadata",
]
