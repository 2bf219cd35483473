"""Tables that were sent in: kept for a day, for whoever sent them, until they are stored or given up."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, Literal

from sqlmodel import Session, col, delete, select

from followup.errors import FollowupError
from followup.records.duties import CLINICAL
from followup.records.store.binding import site_of_session
from followup.records.store.store import Unit
from followup.records.tables import ListImportRow
from followup.said import say

State = Literal["sent", "looking", "looked", "storing", "stored"]
STATES: Final = ("sent", "looking", "looked", "storing", "stored")
KEPT = timedelta(days=1)
# Whoever works at one says so far more often.
ABANDONED = timedelta(minutes=2)
_BUSY = ("looking", "storing")


@dataclass(frozen=True)
class ListImport:
    """A table that was sent in, as ``ListImportRow`` has it, without the file itself."""

    id: str
    name: str
    mapping: str
    body: str
    state: State
    way: str
    done: int
    total: int
    touched_at: datetime
    result: str

    def at_work(self, now: datetime) -> bool:
        """Whether somebody works at it: whoever died in the middle of it said nothing for long."""
        return self.state in _BUSY and abs(now - self.touched_at) < ABANDONED


def begin_list_import(unit: Unit, *, name: str, content: bytes) -> str:
    """Keep a table for whoever sends it; its id. What is older than a day is forgotten.

    Error: ``role.missing``.
    """
    unit.need_role(*CLINICAL)
    forget_list_imports(unit)
    token = secrets.token_hex(16)
    unit.session.add(
        ListImportRow(
            id=token,
            site_id=site_of_session(unit.session),
            by=unit.actor.login,
            at=unit.now,
            name=name,
            content=content,
            state="sent",
            touched_at=unit.now,
        )
    )
    return token


def forget_list_imports(unit: Unit) -> None:
    """Delete what was sent in more than a day ago."""
    unit.session.execute(delete(ListImportRow).where(col(ListImportRow.at) < unit.now - KEPT))


def list_import(session: Session, token: str, login: str) -> ListImport:
    """What ``login`` sent in. Error: ``list.unknown``, also for what somebody else did."""
    columns = [getattr(ListImportRow, name) for name in ListImport.__dataclass_fields__]
    row = session.execute(select(*columns).where(*_own(token, login))).first()
    if row is None:
        raise _unknown()
    return ListImport(*row)


def list_content(session: Session, token: str, login: str) -> bytes:
    """The file as it was sent. Error: ``list.unknown``."""
    found = session.exec(select(ListImportRow.content).where(*_own(token, login))).first()
    if found is None:
        raise _unknown()
    return found


def refused_rows(session: Session, token: str, login: str) -> bytes:
    """The rows that were not stored, as a file; empty where there are none. Error: ``list.unknown``."""
    found = session.exec(select(ListImportRow.refused).where(*_own(token, login))).first()
    if found is None:
        raise _unknown()
    return found


def take_up(
    unit: Unit, token: str, *, state: State, mapping: str = "", body: str = "", way: str = ""
) -> bool:
    """Begin to look at it or to store it; False where somebody is at it, or it is stored already.

    Errors: ``role.missing``, ``list.unknown``.
    """
    unit.need_role(*CLINICAL)
    found = list_import(unit.session, token, unit.actor.login)
    if found.at_work(unit.now) or found.state == "stored":
        return False
    row = unit.session.get_one(ListImportRow, token)
    row.state, row.way, row.done, row.total, row.touched_at = state, way, 0, 0, unit.now
    row.mapping, row.body = mapping or row.mapping, body or row.body
    unit.session.add(row)
    return True


def note_progress(unit: Unit, token: str, *, done: int, total: int) -> None:
    """So much is done."""
    if row := unit.session.get(ListImportRow, token):
        row.done, row.total, row.touched_at = done, total, unit.now
        unit.session.add(row)


def note_result(unit: Unit, token: str, *, state: State, result: str, refused: bytes) -> None:
    """What came of it."""
    if row := unit.session.get(ListImportRow, token):
        row.state, row.result, row.refused, row.touched_at = state, result, refused, unit.now
        if state == "stored":
            row.content = b""
        unit.session.add(row)


def _own(token: str, login: str) -> tuple[bool, bool]:
    return ListImportRow.id == token, ListImportRow.by == login


def _unknown() -> FollowupError:
    return FollowupError(
        "list.unknown",
        say("there is no such file, or it was sent more than a day ago"),
        fix=say("send the file again"),
    )
