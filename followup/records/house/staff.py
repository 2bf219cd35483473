"""Staff and their log-ins. Passwords are hashed and checked elsewhere; here lie only the hashes."""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from datetime import datetime, timedelta

from sqlalchemy import CursorResult
from sqlmodel import Session, col, select, update

from followup.errors import FollowupError
from followup.records.duties import CLINICAL, MANAGER, PROGRAM
from followup.records.house.asked_roles import give_roles
from followup.records.house.second_factor import use_step
from followup.records.house.sessions import MOST_OF_A_BROWSER, end_sessions_of, hashed
from followup.records.house.staff_rows import free_name, known_row, row_here, row_of, staff_of
from followup.records.house.wrong_logins import forget_wrong_logins, is_locked
from followup.records.store.binding import ALL_SITES
from followup.records.store.store import Unit
from followup.records.tables import ROLES, LoginSessionRow, SiteRow, StaffRow
from followup.records.views import LoginSession, Staff
from followup.said import say

# An hour or two is let be: that is what a change of the clocks makes.
AHEAD = timedelta(hours=3)


def add_staff(
    unit: Unit, *, login: str, name: str, roles: Iterable[str], password_hash: str, registration: str = ""
) -> Staff:
    """A new member of staff, at the site of whoever adds the person, if that works at one.

    Roles of medicine wait for a second person (``asked_roles``), and a password that a manager set is not
    the person's own. Errors: ``role.missing``, ``staff.roles``, ``staff.login`` (taken, empty, or the
    program's own).
    """
    unit.need_role(*MANAGER, PROGRAM)
    row = StaffRow(
        login=free_name(unit.session, login),
        name=name.strip(),
        registration=registration.strip(),
        roles=[],
        password_hash=password_hash,
        created_at=unit.now,
        site_id=unit.session.info.get("site"),
        password_own=PROGRAM in unit.actor.roles,
    )
    wished = _checked_roles(roles)
    unit.session.add(row)
    unit.session.flush()
    give_roles(unit, row, wished)
    unit.session.flush()
    unit.log("staff added", f"staff:{row.login}", roles=row.roles)
    return staff_of(row)


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
    Roles of medicine that are new, or of somebody who was switched off and comes back, wait for a second
    person (``asked_roles``). ``seen``: the ``mark`` of the person as the change was made from. Errors:
    ``role.missing``, ``staff.unknown``, ``staff.changed`` where someone else was faster, ``staff.last`` where
    nobody could mend it any more, ``staff.roles``.
    """
    itself = row_of(unit.session, login)
    own_password = (
        roles is None
        and active is None
        and registration is None
        and itself is not None
        and itself.login == unit.actor.login
    )
    if not own_password:
        unit.need_role(*MANAGER, PROGRAM)
    row = row_here(unit.session, login)
    if seen is not None and seen != staff_of(row).mark:
        raise FollowupError(
            "staff.changed",
            say("someone else changed {login} meanwhile", login=row.name or row.login),
            fix=say("look at the list again and repeat what is still needed"),
        )
    managed = _manages(row)
    comes_back = bool(active) and not row.active
    if roles is not None or comes_back:
        wished = row.roles if roles is None else _checked_roles(roles)
        if comes_back:
            # Whoever was switched off is made one of medicine anew.
            row.roles = [role for role in row.roles if role not in CLINICAL]
        give_roles(unit, row, wished)
    if active is not None:
        row.active = active
    if registration is not None:
        row.registration = registration.strip()
    if password_hash is not None:
        _set_password(unit, row, password_hash)
    unit.session.add(row)
    unit.session.flush()
    _keep_a_manager(unit.session, row, managed)
    end_sessions_of(unit, login=row.login)
    unit.log(
        "staff changed",
        f"staff:{row.login}",
        roles=row.roles,
        active=row.active,
        password_changed=password_hash is not None,
        password_own=row.password_own,
    )
    return staff_of(row)


def make_manager(unit: Unit, *, login: str, password_hash: str, name: str = "") -> Staff:
    """Let somebody in as manager of every site, whatever kept the person out, made new where need be.

    The command line's work alone, for a clinic that nobody manages any more. Errors: ``role.missing``,
    ``staff.login``, ``staff.unknown`` where nobody has the log-in name and no ``name`` is given.
    """
    unit.need_role(PROGRAM)
    row = row_of(unit.session, login)
    if row is None and name:
        return add_staff(unit, login=login, name=name, roles=MANAGER, password_hash=password_hash)
    row = row_here(unit.session, login)
    row.roles, row.active, row.site_id = sorted({*row.roles, *MANAGER}), True, None
    row.second_key, row.second_since, row.second_step = "", None, 0
    _set_password(unit, row, password_hash)
    unit.session.add(row)
    unit.session.flush()
    end_sessions_of(unit, login=row.login)
    unit.log("manager made", f"staff:{row.login}", roles=row.roles)
    return staff_of(row)


def bind_staff(unit: Unit, *, login: str, site: int | None) -> Staff:
    """Let a member of staff work for one site, or for all (None); its journal entry is the caller's.

    The command line's work alone: nobody opens another site to anybody from a page. Errors:
    ``role.missing``, ``staff.unknown``, ``site.unknown``, ``staff.last``.
    """
    unit.need_role(PROGRAM)
    row = row_here(unit.session, login)
    if site is not None and unit.session.get(SiteRow, site) is None:
        raise FollowupError("site.unknown", say("no such site"), fix=say("look at the list of sites"))
    managed = _manages(row)
    row.site_id = site
    unit.session.add(row)
    unit.session.flush()
    _keep_a_manager(unit.session, row, managed)
    return staff_of(row)


def unlock(unit: Unit, *, login: str) -> Staff:
    """Forget the wrong passwords of somebody who is locked out. The command line's work alone.

    Errors: ``role.missing``, ``staff.unknown``.
    """
    unit.need_role(PROGRAM)
    row = row_here(unit.session, login)
    forget_wrong_logins(unit, login=row.login)
    unit.log("log-in unlocked", f"staff:{row.login}")
    return staff_of(row)


def choose_language(unit: Unit, *, language: str) -> Staff:
    """Whoever acts reads the pages in ``language`` (a tag) from now on, wherever that person is logged in."""
    row = known_row(unit.session, unit.actor.login)
    row.language = language
    unit.session.add(row)
    unit.session.flush()
    unit.log("language chosen", f"staff:{row.login}", language=language)
    return staff_of(row)


def staff_by_login(session: Session, login: str) -> Staff | None:
    """The member of staff with this log-in name, active or not."""
    row = row_of(session, login)
    return staff_of(row) if row else None


def all_staff(session: Session) -> tuple[Staff, ...]:
    """Everybody who works at the session's site, by log-in name."""
    return tuple(staff_of(row) for row in session.exec(select(StaffRow).order_by(col(StaffRow.login))))


def open_session(
    unit: Unit,
    *,
    login: str,
    lifetime: timedelta,
    checked: str | None = None,
    browser: str = "",
    instead_of: str = "",
    origin: str = "",
    rehashed: str | None = None,
    step: int | None = None,
) -> str:
    """Log in: the opaque id for the cookie. ``checked``: the hash that the password was compared with.

    ``browser``: what it calls itself; ``instead_of``: the opaque id that it had before, worthless now.
    ``origin``: the network address; ``rehashed``: the same password as it is stored today.
    ``step``: of the code of the second factor, which opens one log-in.
    Errors: ``staff.locked``, ``staff.inactive``, ``staff.waiting`` where every role of the person waits
    for a second person, ``staff.changed`` (it has another password by now).
    """
    row = known_row(unit.session, login)
    if checked is not None and checked != row.password_hash:
        raise FollowupError(
            "staff.changed", say("the password was changed meanwhile"), fix=say("log in again")
        )
    if not row.active:
        raise FollowupError("staff.inactive", say("this log-in is switched off"), fix=say("ask the manager"))
    if not row.roles:
        raise FollowupError(
            "staff.waiting",
            say("your role waits for a second person, who grants it"),
            fix=say("ask another manager or a surgeon"),
        )
    # Once more, where nobody else writes: of many guesses at once no more count than one by one.
    if is_locked(unit.session, login=row.login, origin=origin, now=unit.now):
        raise FollowupError(
            "staff.locked", say("too many wrong passwords"), fix=say("wait a quarter of an hour")
        )
    use_step(row, step)
    forget_wrong_logins(unit, login=row.login, origin=origin)
    row.password_hash = rehashed or row.password_hash
    unit.session.add(row)
    if instead_of:
        end_session(unit, token=instead_of)
    token = secrets.token_urlsafe(32)
    assert row.id is not None
    unit.session.add(
        LoginSessionRow(
            id=hashed(token),
            staff_id=row.id,
            created_at=unit.now,
            last_seen=unit.now,
            expires_at=unit.now + lifetime,
            reauthenticated_at=unit.now,
            browser=browser[:MOST_OF_A_BROWSER],
            origin=origin,
        )
    )
    unit.log("logged in", f"staff:{row.login}")
    return token


def find_session(session: Session, *, token: str, now: datetime, idle: timedelta) -> LoginSession | None:
    """The log-in with this opaque id, if it is in force and was used within ``idle``."""
    found = session.exec(
        select(LoginSessionRow, StaffRow)
        .join(StaffRow, col(StaffRow.id) == LoginSessionRow.staff_id)
        .where(LoginSessionRow.id == hashed(token)),
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
        staff=staff_of(staff),
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
        .where(col(LoginSessionRow.id) == hashed(token), col(LoginSessionRow.revoked_at).is_(None))
        .values(**values)
    )


def _set_password(unit: Unit, row: StaffRow, password_hash: str) -> None:
    """Whoever has the computer in hand sets the own one; whoever manages sets one that is not."""
    row.password_hash = password_hash
    forget_wrong_logins(unit, login=row.login)
    if row.login == unit.actor.login:
        row.password_own = True
        return
    row.password_own = PROGRAM in unit.actor.roles
    row.reset_by, row.reset_at = unit.actor.login, unit.now


def _manages(row: StaffRow) -> tuple[bool, bool]:
    """Whether the person manages anything, and whether every site."""
    manages = row.active and "manager" in row.roles
    return manages, manages and row.site_id is None


def _keep_a_manager(session: Session, row: StaffRow, managed: tuple[bool, bool]) -> None:
    """Refuse what takes the last manager away, or the last one of every site. Error ``staff.last``."""
    staff = session.exec(select(StaffRow), execution_options=ALL_SITES)
    left = list(zip(*map(_manages, staff), strict=True))
    if any(had and not any(some) for had, some in zip(managed, left, strict=True)):
        raise FollowupError(
            "staff.last",
            say("{login} is the last manager", login=row.name or row.login),
            fix=say("make someone else manager first, then change this"),
        )


def _checked_roles(roles: Iterable[str]) -> list[str]:
    chosen = sorted(set(roles))
    unknown = [role for role in chosen if role not in ROLES]
    if unknown or not chosen:
        what = f"{', '.join(unknown)} is no role" if unknown else "no role given"
        raise FollowupError("staff.roles", what, fix=say("choose from {roles}", roles=", ".join(ROLES)))
    return chosen
