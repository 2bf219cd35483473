"""The log-ins of one person that are in force: listed, and ended one by one or all. Few need an entry."""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement
from sqlmodel import Session, col, select, update

from followup.errors import FollowupError
from followup.records.house.staff_rows import known_row
from followup.records.store.binding import ALL_SITES
from followup.records.store.store import Unit
from followup.records.tables import LoginSessionRow, StaffRow
from followup.records.views import OpenSession
from followup.said import say

# So much of what stands for a session names it on a page: it opens nothing.
NAME = 16
# So many wrong passwords in a row, where one is asked for once more, end the session.
MOST_WRONG = 5
MOST_OF_A_BROWSER = 60


def hashed(token: str) -> str:
    """What the store knows of the opaque id in a cookie."""
    return hashlib.sha256(token.encode()).hexdigest()


def sessions_of(session: Session, *, login: str, now: datetime, idle: timedelta) -> tuple[OpenSession, ...]:
    """The person's log-ins that were used within ``idle`` and have not ended, the last used one first."""
    rows = session.exec(
        select(LoginSessionRow)
        .where(
            LoginSessionRow.staff_id == known_row(session, login).id,
            col(LoginSessionRow.revoked_at).is_(None),
            LoginSessionRow.expires_at > now,
            LoginSessionRow.last_seen > now - idle,
        )
        .order_by(col(LoginSessionRow.last_seen).desc(), col(LoginSessionRow.id))
    )
    return tuple(
        OpenSession(row.id, row.id[:NAME], row.created_at, row.last_seen, row.browser) for row in rows
    )


def end_one_session(unit: Unit, *, login: str, name: str) -> None:
    """End the log-in of this person that has this name. Error ``session.unknown`` where none has it."""
    of_name = col(LoginSessionRow.id).startswith(name, autoescape=True)
    if len(name) != NAME or not _end(unit, login, of_name):
        raise FollowupError(
            "session.unknown", say("this log-in has ended"), fix=say("look at the list again")
        )


def end_other_sessions(unit: Unit, *, login: str, but: str) -> None:
    """End every log-in of this person but that with the id ``but``."""
    _end(unit, login, col(LoginSessionRow.id) != but)


def note_right_password(unit: Unit, *, session_id: str) -> bool:
    """The password was given once more; False where the session has ended."""
    row = _in_force(unit, session_id)
    if row is None:
        return False
    row.wrong_passwords, row.reauthenticated_at = 0, unit.now
    unit.session.add(row)
    return True


def note_wrong_password(unit: Unit, *, session_id: str) -> bool:
    """Count a wrong one; whether the session goes on. One that it ends stands in the journal."""
    row = _in_force(unit, session_id)
    if row is None:
        return False
    row.wrong_passwords += 1
    unit.session.add(row)
    if row.wrong_passwords < MOST_WRONG:
        return True
    row.revoked_at = unit.now
    whose = select(StaffRow.login).where(StaffRow.id == row.staff_id)
    login = unit.session.exec(whose, execution_options=ALL_SITES).one()
    unit.log("logged out after wrong passwords", f"staff:{login}")
    return False


def _in_force(unit: Unit, session_id: str) -> LoginSessionRow | None:
    row = unit.session.get(LoginSessionRow, session_id)
    return row if row is not None and row.revoked_at is None else None


def end_sessions_of(unit: Unit, *, login: str) -> None:
    """Log a person out everywhere."""
    _end(unit, login)


def _end(unit: Unit, login: str, *which: ColumnElement[bool]) -> bool:
    """End those of the person that have not ended; whether there was any."""
    ended = unit.session.execute(
        update(LoginSessionRow)
        .where(
            col(LoginSessionRow.staff_id) == known_row(unit.session, login).id,
            col(LoginSessionRow.revoked_at).is_(None),
            *which,
        )
        .values(revoked_at=unit.now)
        .returning(col(LoginSessionRow.id))
    )
    return ended.first() is not None
