"""Wrong log-ins, counted by name and origin: who must wait before the next one, and who is locked out.

A stranger locks nobody but that name from his own address. What he does to one name from everywhere, or to
every name from one address, makes log-ins slow there, and never for whoever logged in from there before
(NIST SP 800-63B, 5.2.2: limits, growing waits, and addresses that are known). Names that nobody has are
counted alike, so that nothing tells them apart.
"""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta

from sqlmodel import Session, col, delete, func, select

from followup.records.house.staff_rows import log_in_name, row_of
from followup.records.store.store import Unit
from followup.records.tables import LoginSessionRow, WrongLoginRow

MOST_WRONG = 5
LOCK = timedelta(minutes=15)
# After so many wrong ones the next is looked at only so much later.
WAITS = {3: timedelta(seconds=5), 4: timedelta(seconds=20)}
# Of one name over all origins, of one origin over all names, within LOCK.
MOST_WIDE = 100
LONGEST_WIDE = timedelta(minutes=1)
# An origin stays known to a name for so long after a log-in from there.
KNOWN_FOR = timedelta(days=30)
# No crowd of strangers makes the table larger.
MOST_ROWS = 10_000
KEPT = timedelta(days=1)

# No name hashes to it, and no address is it.
_EVERYONE = _EVERYWHERE = "*"


def seconds_to_wait(session: Session, *, login: str, origin: str, now: datetime) -> int:
    """Whole seconds until a log-in with this name from this origin is looked at; 0: it is now."""
    who = _who(login)
    wait = _pair_wait(session.get(WrongLoginRow, (who, origin)), now)
    wide = max(
        _wide_wait(session.get(WrongLoginRow, (who, _EVERYWHERE)), now),
        _wide_wait(session.get(WrongLoginRow, (_EVERYONE, origin)), now),
    )
    if wide > wait and not _came_from(session, login, origin, now):
        wait = wide
    return -(-wait // timedelta(seconds=1))


def is_locked(session: Session, *, login: str, origin: str, now: datetime) -> bool:
    """Whether too many wrong log-ins keep this name from this origin out."""
    row = session.get(WrongLoginRow, (_who(login), origin))
    return row is not None and row.wrong >= MOST_WRONG and _pair_wait(row, now) > timedelta(0)


def note_wrong_login(unit: Unit, *, login: str, origin: str) -> None:
    """Count one. Where somebody's own name gets locked by it, the journal says so; no other ever does.

    While a name is guessed at from everywhere it says nothing more: no stranger fills the journal.
    """
    _make_room(unit)
    who = _who(login)
    pair = unit.session.get(WrongLoginRow, (who, origin))
    before = pair.wrong if pair is not None and _counts(pair, unit.now) else 0
    _count(unit, who, origin, before + 1)
    widely = [
        _count(unit, *key, _leaked(unit.session.get(WrongLoginRow, key), unit.now) + 1)
        for key in ((who, _EVERYWHERE), (_EVERYONE, origin))
    ]
    unit.session.flush()
    if before + 1 == MOST_WRONG and widely[0] < MOST_WIDE and (row := row_of(unit.session, login)):
        unit.log("log-in locked", f"staff:{row.login}", origin=origin)


def forget_wrong_logins(unit: Unit, *, login: str, origin: str | None = None) -> None:
    """The name is free again, from this origin or, without one, from everywhere. Needs no journal entry."""
    of_name = delete(WrongLoginRow).where(col(WrongLoginRow.who) == _who(login))
    unit.session.execute(of_name if origin is None else of_name.where(col(WrongLoginRow.origin) == origin))


def forget_old_wrong_logins(unit: Unit) -> None:
    """What is older than a day, or was counted by a clock that ran ahead, goes. Needs no journal entry."""
    at = col(WrongLoginRow.last_at)
    unit.session.execute(delete(WrongLoginRow).where((at < unit.now - KEPT) | (at > unit.now + KEPT)))


def _count(unit: Unit, who: str, origin: str, wrong: int) -> int:
    unit.session.merge(WrongLoginRow(who=who, origin=origin, wrong=wrong, last_at=unit.now))
    return wrong


def _make_room(unit: Unit) -> None:
    """Of a full table the older half goes: whoever has so many addresses is slowed by name anyway."""
    rows = unit.session.exec(select(func.count()).select_from(WrongLoginRow)).one()
    if rows < MOST_ROWS:
        return
    at = col(WrongLoginRow.last_at)
    middle = unit.session.exec(select(at).order_by(at).offset(rows // 2).limit(1)).one()
    unit.session.execute(delete(WrongLoginRow).where(at <= middle))


def _pair_wait(row: WrongLoginRow | None, now: datetime) -> timedelta:
    if row is None or not _counts(row, now):
        return timedelta(0)
    lasts = LOCK if row.wrong >= MOST_WRONG else WAITS.get(row.wrong, timedelta(0))
    return max(row.last_at + lasts - now, timedelta(0))


def _wide_wait(row: WrongLoginRow | None, now: datetime) -> timedelta:
    over = _leaked(row, now) - MOST_WIDE
    if row is None or over < 0:
        return timedelta(0)
    return max(row.last_at + min(timedelta(seconds=1 + over), LONGEST_WIDE) - now, timedelta(0))


def _counts(row: WrongLoginRow, now: datetime) -> bool:
    # What lies further ahead was written by a clock that ran ahead: nobody is kept out for longer.
    return now - LOCK < row.last_at <= now + LOCK


def _leaked(row: WrongLoginRow | None, now: datetime) -> int:
    """What is left of a wide count: it empties within LOCK at the bound."""
    if row is None or not _counts(row, now):
        return 0
    passed = max(now - row.last_at, timedelta(0))
    return max(row.wrong - int(MOST_WIDE * (passed / LOCK)), 0)


def _came_from(session: Session, login: str, origin: str, now: datetime) -> bool:
    """Whether this very person logged in from there lately."""
    row = row_of(session, login)
    if row is None:
        return False
    began = select(LoginSessionRow.id).where(
        LoginSessionRow.staff_id == row.id,
        LoginSessionRow.origin == origin,
        LoginSessionRow.created_at > now - KNOWN_FOR,
    )
    return session.exec(began.limit(1)).first() is not None


def _who(login: str) -> str:
    return hashlib.sha256(log_in_name(login).encode()).hexdigest()
