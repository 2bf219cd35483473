"""Staff and their log-ins. Passwords are hashed and checked elsewhere; here lie only the hashes."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable
from datetime import datetime, timedelta

from sqlalchemy import CursorResult
from sqlmodel import Session, col, select, update

from followup.errors import FollowupError
from followup.records.duties import MANAGER, PROGRAM
from followup.records.store.binding import ALL_SITES
from followup.records.store.store import Unit
from followup.records.tables import ROLES, LoginSessionRow, StaffRow
from followup.records.views import LoginSession, Staff
from followup.said import say
from followup.typed import typed

MAX_FAILED_LOGINS = 5
LOCK = timedelta(minutes=15)
# Under these names the journal says what nobody did by hand.
OF_THE_PROGRAM = frozenset({"system", "command line"})
# An hour or two is let be: that is what a change of the clocks makes.
AHEAD = timedelta(hours=3)


def add_staff(
    unit: Unit, *, login: str, name: str, roles: Iterable[str], password_hash: str, registration: str = ""
) -> Staff:
    """A new member of staff, at the site of whoever adds the person, if that works at one.

    Errors: ``role.missing``, ``staff.roles``, ``staff.login`` (taken, empty, or the program's own).
    """
    unit.need_role(*MANAGER, PROGRAM)
    login = login.strip().casefold()
    if not login or login in OF_THE_PROGRAM or _row(unit.session, login) is not None:
        raise FollowupError(
            "staff.login",
            say("the log-in name {login} can't be used", login=typed(login)),
            fix=say("choose another"),
        )
    row = StaffRow(
        login=login,
        name=name.strip(),
        registration=registration.strip(),
        roles=_checked_roles(roles),
        password_hash=password_hash,
        created_at=unit.now,
        site_id=unit.session.info.get("site"),
    )
    unit.session.add(row)
    unit.session.flush()
    unit.log("staff added", f"staff:{login}", roles=row.roles)
    return _staff(row)


def change_staff(
    unit: Unit,
    *,
    login: str,
    roles: Iterable[str] | None = None,
    active: bool | None = None,
    password_hash: str | None = None,
    registration: str | None = None,
    seen: str | None = None,
) -> Staff:
    """Change roles, password, registration or whether the person may log in; ends that person's sessions.

    Everybody changes the own password; all else is the manager's, of the own site where that works at one.
    ``seen``: the ``mark`` of the person as the change was made from. Errors: ``role.missing``,
    ``staff.unknown``, ``staff.changed`` where someone else was faster, ``staff.last`` where nobody could
    mend it any more, ``staff.roles``.
    """
    own_password = (
        roles is None
        and active is None
        and registration is None
        and login.strip().casefold() == unit.actor.login
    )
    if not own_password:
        unit.need_role(*MANAGER, PROGRAM)
    row = _here(unit.session, login)
    if seen is not None and seen != _staff(row).mark:
        raise FollowupError(
            "staff.changed",
            say("someone else changed {login} meanwhile", login=row.name or row.login),
            fix=say("look at the list again and repeat what is still needed"),
        )
    was_manager = row.active and "manager" in row.roles
    if roles is not None:
        row.roles = _checked_roles(roles)
    if active is not None:
        row.active = active
    if registration is not None:
        row.registration = registration.strip()
    if password_hash is not None:
        row.password_hash, row.failed_logins, row.locked_until = password_hash, 0, None
    unit.session.add(row)
    unit.session.flush()
    if was_manager and not any(
        active and "manager" in roles
        for active, roles in unit.session.exec(
            select(StaffRow.active, StaffRow.roles), execution_options=ALL_SITES
        )
    ):
        raise FollowupError(
            "staff.last",
            say("{login} is the last manager", login=row.name or row.login),
            fix=say("make someone else manager first, then change this"),
        )
    end_sessions_of(unit, login=row.login)
    unit.log(
        "staff changed",
        f"staff:{row.login}",
        roles=row.roles,
        active=row.active,
        password_changed=password_hash is not None,
    )
    return _staff(row)


def choose_language(unit: Unit, *, language: str) -> Staff:
    """Whoever acts reads the pages in ``language`` (a tag) from now on, wherever that person is logged in."""
    row = _known(unit.session, unit.actor.login)
    row.language = language
    unit.session.add(row)
    unit.session.flush()
    unit.log("language chosen", f"staff:{row.login}", language=language)
    return _staff(row)


def staff_by_login(session: Session, login: str) -> Staff | None:
    """The member of staff with this log-in name, active or not."""
    row = _row(session, login.strip().casefold())
    return _staff(row) if row else None


def all_staff(session: Session) -> tuple[Staff, ...]:
    """Everybody who works at the session's site, by log-in name."""
    return tuple(_staff(row) for row in session.exec(select(StaffRow).order_by(col(StaffRow.login))))


def is_locked(person: Staff, now: datetime) -> bool:
    """Whether too many wrong passwords keep the person out at this moment."""
    return _is_locked(person.locked_until, now)


def _is_locked(until: datetime | None, now: datetime) -> bool:
    # Nobody is locked for longer: what lies further ahead was written by a clock that ran ahead.
    return until is not None and now < until <= now + 2 * LOCK


def note_failed_login(unit: Unit, *, login: str) -> None:
    """Count a wrong password; after MAX_FAILED_LOGINS the log-in is locked for LOCK."""
    row = _known(unit.session, login)
    if not _is_locked(row.locked_until, unit.now):
        row.locked_until = None
    row.failed_logins += 1
    if row.failed_logins >= MAX_FAILED_LOGINS:
        row.locked_until, row.failed_logins = unit.now + LOCK, 0
    unit.session.add(row)
    unit.log("log-in failed", f"staff:{row.login}", locked=row.locked_until is not None)


def open_session(unit: Unit, *, login: str, lifetime: timedelta, checked: str | None = None) -> str:
    """Log in: the opaque id for the cookie. ``checked``: the hash that the password was compared with.

    Errors: ``staff.locked``, ``staff.inactive``, ``staff.changed`` (it has another password by now).
    """
    row = _known(unit.session, login)
    if checked is not None and checked != row.password_hash:
        raise FollowupError(
            "staff.changed", say("the password was changed meanwhile"), fix=say("log in again")
        )
    if not row.active:
        raise FollowupError("staff.inactive", say("this log-in is switched off"), fix=say("ask the manager"))
    if _is_locked(row.locked_until, unit.now):
        raise FollowupError(
            "staff.locked", say("too many wrong passwords"), fix=say("wait a quarter of an hour")
        )
    row.failed_logins, row.locked_until = 0, None
    unit.session.add(row)
    token = secrets.token_urlsafe(32)
    assert row.id is not None
    unit.session.add(
        LoginSessionRow(
            id=_hashed(token),
            staff_id=row.id,
            created_at=unit.now,
            last_seen=unit.now,
            expires_at=unit.now + lifetime,
            reauthenticated_at=unit.now,
        )
    )
    unit.log("logged in", f"staff:{row.login}")
    return token


def find_session(session: Session, *, token: str, now: datetime, idle: timedelta) -> LoginSession | None:
    """The log-in with this opaque id, if it is in force and was used within ``idle``."""
    found = session.exec(
        select(LoginSessionRow, StaffRow)
        .join(StaffRow, col(StaffRow.id) == LoginSessionRow.staff_id)
        .where(LoginSessionRow.id == _hashed(token)),
        execution_options=ALL_SITES,
    ).first()
    if found is None:
        return None
    row, staff = found
    if row.revoked_at or row.expires_at <= now or row.last_seen + idle <= now or not staff.active:
        return None
    if row.last_seen > now + AHEAD:
        # Begun under a clock that ran ahead: it would hold until then.
        return None
    return LoginSession(
        id=row.id,
        staff=_staff(staff),
        created_at=row.created_at,
        last_seen=row.last_seen,
        expires_at=row.expires_at,
        reauthenticated_at=row.reauthenticated_at,
    )


def logged_in_between(session: Session, begins: datetime, ends: datetime) -> bool:
    """Whether anybody logged in from ``begins`` up to ``ends``."""
    began = col(LoginSessionRow.created_at)
    return session.exec(select(LoginSessionRow.id).where(began >= begins, began < ends)).first() is not None


def touch_session(unit: Unit, *, token: str) -> None:
    """Note that the session is used. Needs no journal entry (``store.upkeep``)."""
    _update_session(unit, token, last_seen=unit.now)


def end_session(unit: Unit, *, token: str) -> None:
    """Log out: the opaque id is worthless from now on. Needs no journal entry."""
    _update_session(unit, token, revoked_at=unit.now)


def end_sessions_of(unit: Unit, *, login: str) -> None:
    """Log a person out everywhere. Needs no journal entry."""
    row = _known(unit.session, login)
    unit.session.execute(
        update(LoginSessionRow)
        .where(col(LoginSessionRow.staff_id) == row.id, col(LoginSessionRow.revoked_at).is_(None))
        .values(revoked_at=unit.now)
    )


def end_all_sessions(unit: Unit) -> int:
    """Log everybody out everywhere; how many log-ins that ended. Its journal entry is the caller's."""
    result = unit.session.execute(
        update(LoginSessionRow).where(col(LoginSessionRow.revoked_at).is_(None)).values(revoked_at=unit.now)
    )
    assert isinstance(result, CursorResult)
    return result.rowcount


def _update_session(unit: Unit, token: str, **values: datetime) -> None:
    unit.session.execute(
        update(LoginSessionRow)
        .where(col(LoginSessionRow.id) == _hashed(token), col(LoginSessionRow.revoked_at).is_(None))
        .values(**values)
    )


def _checked_roles(roles: Iterable[str]) -> list[str]:
    chosen = sorted(set(roles))
    unknown = [role for role in chosen if role not in ROLES]
    if unknown or not chosen:
        what = f"{', '.join(unknown)} is no role" if unknown else "no role given"
        raise FollowupError("staff.roles", what, fix=say("choose from {roles}", roles=", ".join(ROLES)))
    return chosen


def _known(session: Session, login: str) -> StaffRow:
    row = _row(session, login.strip().casefold())
    if row is None:
        raise _unknown(login)
    return row


def _unknown(login: str) -> FollowupError:
    return FollowupError(
        "staff.unknown", say("nobody logs in as {login}", login=typed(login)), fix=say("check the name")
    )


def _row(session: Session, login: str) -> StaffRow | None:
    """Whoever logs in under this name, at whatever site."""
    return session.exec(select(StaffRow).where(StaffRow.login == login), execution_options=ALL_SITES).first()


def _here(session: Session, login: str) -> StaffRow:
    """The member of staff of the session's site. Error ``staff.unknown``, as where nobody has the name."""
    known = login.strip().casefold()
    row = session.exec(select(StaffRow).where(StaffRow.login == known)).first()
    if row is None:
        raise _unknown(login)
    return row


def _staff(row: StaffRow) -> Staff:
    assert row.id is not None
    return Staff(
        id=row.id,
        login=row.login,
        name=row.name,
        registration=row.registration,
        roles=frozenset(row.roles),
        password_hash=row.password_hash,
        active=row.active,
        failed_logins=row.failed_logins,
        locked_until=row.locked_until,
        site=row.site_id,
        language=row.language,
    )


def _hashed(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
