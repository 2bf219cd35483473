"""The rows of the people who work here: found by their log-in name, and read."""

from __future__ import annotations

from unicodedata import normalize

from sqlmodel import Session, col, select

from followup.errors import FollowupError
from followup.records.store.binding import ALL_SITES
from followup.records.tables import StaffRow
from followup.records.views import Staff
from followup.said import say
from followup.typed import typed

# Under these names the journal says what nobody did by hand.
OF_THE_PROGRAM = frozenset({"system", "command line"})


def log_in_name(text: str) -> str:
    """The one spelling of a log-in name: "Boss ", "BOSS" and its full-width letters are all "boss"."""
    return normalize("NFKC", normalize("NFKC", text).casefold()).strip()


def row_of(session: Session, login: str) -> StaffRow | None:
    """Whoever logs in under this name, at whatever site."""
    return _found(session, login, ALL_SITES)


def known_row(session: Session, login: str) -> StaffRow:
    """The same. Error ``staff.unknown``."""
    row = row_of(session, login)
    if row is None:
        raise _unknown(login)
    return row


def row_here(session: Session, login: str) -> StaffRow:
    """The member of staff of the session's site. Error ``staff.unknown``, as where nobody has the name."""
    row = _found(session, login, {})
    if row is None:
        raise _unknown(login)
    return row


def free_name(session: Session, login: str) -> str:
    """The spelling in which ``login`` is stored of somebody new. Error ``staff.login``: it can't be had."""
    name = log_in_name(login)
    # What nobody sees must not tell two names apart.
    seen = name.isprintable()
    taken = map(log_in_name, session.exec(select(StaffRow.login), execution_options=ALL_SITES))
    if not name or not seen or name in OF_THE_PROGRAM or name in taken:
        raise FollowupError(
            "staff.login",
            say("the log-in name {login} can't be used", login=typed(name)),
            fix=say("choose another"),
        )
    return name


def staff_of(row: StaffRow) -> Staff:
    """What the store hands out of a row."""
    assert row.id is not None
    return Staff(
        id=row.id,
        login=row.login,
        name=row.name,
        registration=row.registration,
        roles=frozenset(row.roles),
        password_hash=row.password_hash,
        active=row.active,
        site=row.site_id,
        language=row.language,
        password_own=row.password_own,
        reset_by=row.reset_by,
        reset_at=row.reset_at,
        second_key=row.second_key,
        second_since=row.second_since,
        second_step=row.second_step,
    )


def _found(session: Session, login: str, options: dict[str, bool]) -> StaffRow | None:
    # Names that were stored before they had one spelling are found as they were typed.
    spelt = [login.strip().casefold(), log_in_name(login)]
    asked = select(StaffRow).where(col(StaffRow.login).in_(spelt))
    rows = {row.login: row for row in session.exec(asked, execution_options=options)}
    return next((rows[one] for one in spelt if one in rows), None)


def _unknown(login: str) -> FollowupError:
    return FollowupError(
        "staff.unknown", say("nobody logs in as {login}", login=typed(login)), fix=say("check the name")
    )
