"""Signed plans and issued sheets bound to the journal: its entry holds the hash of what was signed or issued.

The chain shows that no entry was changed; the hash in the entry shows that neither was what it speaks
of. Entries from before they held a hash prove nothing of the row, and are counted as such. Where a patient
asked to be erased, its entry holds the plan's hash from then on, or says that plan and sheet are gone.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlmodel import Session, col, select

from followup.errors import FollowupError
from followup.records.people.folding import fold_code
from followup.records.store.journal import Detail, Seal, canonical, verify_journal
from followup.records.tables import (
    CarePlanRow,
    JournalRow,
    PatientRow,
    RecordVersionRow,
    SheetChoiceRow,
    SheetRow,
)

SIGNED, ISSUED, ERASED = "plan signed", "sheet printed", "patient erased"
_PLAN = (
    *("id", "patient_id", "number", "record_number", "as_of", "body", "edits", "reason"),
    *("protocol_hash", "engine", "drafted_by", "drafted_at", "signed_by", "signed_at"),
)
_SHEET = ("id", "patient_id", "care_plan_id", "issue", "language", "printed_at", "printed_by", "reason")


@dataclass(frozen=True)
class Bound:
    """How many plans and sheets are as they were signed and issued, and of how many nothing can tell."""

    plans: int = 0
    sheets: int = 0
    plans_before: int = 0
    sheets_before: int = 0


@dataclass(frozen=True)
class Verified:
    """What was found whole: the journal, and what it is bound to."""

    journal: Seal
    bound: Bound


def plan_hash(session: Session, row: CarePlanRow) -> str:
    """Over the signed plan and the version of the record that it was made from."""
    record = session.exec(
        select(RecordVersionRow.body).where(
            RecordVersionRow.patient_id == row.patient_id, RecordVersionRow.number == row.record_number
        )
    ).one()
    return _hash({**_values(row, _PLAN), "record": record})


def sheet_hash(session: Session, row: SheetRow) -> str:
    """Over the issued sheet and how it was printed."""
    choice = session.get(SheetChoiceRow, row.id)
    return _hash({**_values(row, _SHEET), "options": choice.options if choice else {}})


def verify_all(session: Session, *, at_least: Seal | None = None) -> Verified:
    """The journal unbroken, and every signed plan and issued sheet as its entry says.

    Errors: ``journal.broken``, and ``journal.unlike`` with the first plan or sheet that differs.
    """
    seal = verify_journal(session, at_least=at_least)
    plans, plans_before = _compare_plans(session)
    sheets, sheets_before = _compare_sheets(session)
    return Verified(seal, Bound(plans, sheets, plans_before, sheets_before))


def _compare_plans(session: Session) -> tuple[int, int]:
    hashes, before = _entries(session, SIGNED, "plan")
    for subject, details in _erasings(session):
        for number, _, left in (str(one).partition(" ") for one in details["plans"]):
            _was_erased(hashes, int(number), subject, left)
    query = select(CarePlanRow.id, CarePlanRow.number, PatientRow.code).join(
        PatientRow, col(PatientRow.id) == CarePlanRow.patient_id
    )
    signed = session.exec(query.where(col(CarePlanRow.signed_at).is_not(None))).all()
    return _compare(
        "plan", "signed", hashes, before, signed, lambda key: _of(session, CarePlanRow, key, plan_hash)
    )


def _compare_sheets(session: Session) -> tuple[int, int]:
    hashes, before = _entries(session, ISSUED, "issue")
    for subject, details in _erasings(session):
        for number in details["sheets"]:
            _was_erased(hashes, number, subject, "")
    query = select(SheetRow.id, SheetRow.issue, PatientRow.code)
    issued = session.exec(query.join(PatientRow, col(PatientRow.id) == SheetRow.patient_id)).all()
    return _compare(
        "sheet", "printed", hashes, before, issued, lambda key: _of(session, SheetRow, key, sheet_hash)
    )


def _compare(
    what: str,
    done: str,
    hashes: Mapping[Any, tuple[str, str]],
    before: set[tuple[str, int]],
    rows: Iterable[tuple[Any, int, str]],
    hash_of: Any,
) -> tuple[int, int]:
    """How many are as their entry says, and of how many the entry holds no hash."""
    there = {key: (number, code) for key, number, code in rows}
    for key, (subject, _) in hashes.items():
        if key not in there:
            raise _unlike(f"a {what} that was {done} is not there any more", subject)
    unproven = 0
    for key, (number, code) in there.items():
        if key not in hashes:
            if (fold_code(code), number) not in before:
                raise _unlike(f"the journal does not know that {what} {number} was {done}", f"patient:{code}")
            unproven += 1
        elif hash_of(key) != hashes[key][1]:
            raise _unlike(f"{what} {number} is not the one that was {done}", f"patient:{code}")
    return len(hashes), unproven


def _entries(
    session: Session, action: str, number: str
) -> tuple[dict[Any, tuple[str, str]], set[tuple[str, int]]]:
    """Subject and hash by the row's key; and code and number of those without a hash."""
    hashes: dict[Any, tuple[str, str]] = {}
    before: set[tuple[str, int]] = set()
    query = select(JournalRow.subject, JournalRow.details).where(JournalRow.action == action)
    for subject, text in session.exec(query.order_by(col(JournalRow.number))):
        details: Mapping[str, Detail] = json.loads(text)
        if "sha256" in details:
            hashes[details.get("id")] = subject, str(details["sha256"])
        else:
            before.add((fold_code(subject.removeprefix("patient:")), int(str(details.get(number)))))
    return hashes, before


def _erasings(session: Session) -> list[tuple[str, Mapping[str, Any]]]:
    """Subject and details of each entry that a patient was erased, in their order."""
    query = select(JournalRow.subject, JournalRow.details).where(JournalRow.action == ERASED)
    return [(who, json.loads(text)) for who, text in session.exec(query.order_by(col(JournalRow.number)))]


def _was_erased(hashes: dict[Any, tuple[str, str]], key: object, subject: str, left: str) -> None:
    """``left``: the hash from then on; empty where nothing is there any more. Of the patient's own alone."""
    if key in hashes and hashes[key][0] == subject:
        if left:
            hashes[key] = subject, left
        else:
            del hashes[key]


def _of(session: Session, table: Any, key: object, hash_of: Any) -> str | None:
    """The hash of a row as it stands; None where it can't be read any more."""
    try:
        row = session.get(table, key)
        found: str = hash_of(session, row)
    except (ValueError, TypeError, AttributeError):
        return None
    finally:
        # A row at a time: thousands of plans would not fit into memory.
        session.expunge_all()
    return found


def _values(row: CarePlanRow | SheetRow, names: Iterable[str]) -> dict[str, object]:
    return {name: _plain(getattr(row, name)) for name in names}


def _plain(value: Any) -> object:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    return value.isoformat() if hasattr(value, "isoformat") else value


def _hash(content: Mapping[str, object]) -> str:
    return hashlib.sha256(canonical(content).encode()).hexdigest()


def _unlike(what: str, subject: str) -> FollowupError:
    return FollowupError(
        "journal.unlike",
        what,
        where=subject.removeprefix("patient:"),
        fix="give no sheet of this patient before the surgeon has read the plan; restore the newest"
        " backup that is whole and tell who is in charge of the records",
    )
