"""Roles of medicine: a manager asks for them, a second person grants or refuses them.

Whoever reads and writes records (:data:`~followup.records.duties.CLINICAL`) must not be made by one person
alone. Where nobody else could agree the role acts at once, and the pages say so for :data:`TOLD_FOR`.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from sqlmodel import Session, col, select
from sqlmodel.sql.expression import Select

from followup.errors import FollowupError
from followup.records.duties import CLINICAL, MANAGER, PROGRAM, SURGEON
from followup.records.house.sessions import end_sessions_of
from followup.records.house.staff_rows import row_of
from followup.records.store.binding import ALL_SITES
from followup.records.store.store import Unit
from followup.records.tables import AskedRoleRow, StaffRow
from followup.records.views import AskedRole
from followup.said import say

TOLD_FOR = timedelta(days=30)
GRANTERS = frozenset({*MANAGER, *SURGEON})


def give_roles(unit: Unit, row: StaffRow, wished: Iterable[str]) -> None:
    """Give a person of the store ``wished`` and no other role; those of medicine only ask for it.

    What was asked for before and is not wished any more is withdrawn. The command line, for whoever has the
    computer in hand, gives at once. The journal entry of the change itself is the caller's.
    """
    wishes = set(wished)
    more = sorted((wishes - set(row.roles)) & set(CLINICAL))
    row.roles = sorted(wishes - set(more))
    unit.session.add(row)
    unit.session.flush()
    waiting = _open_of(unit.session, row)
    if more and PROGRAM not in unit.actor.roles and _somebody_else(unit, row):
        if waiting is not None and waiting.roles == more:
            return
        _decide(unit, waiting, "withdrawn")
        assert row.id is not None
        unit.session.add(
            AskedRoleRow(staff_id=row.id, roles=more, asked_by=unit.actor.login, asked_at=unit.now)
        )
        unit.log("role asked for", f"staff:{row.login}", roles=more)
        return
    _decide(unit, waiting, "withdrawn")
    if more:
        row.roles = sorted(wishes)
        unit.session.add(row)
        if PROGRAM not in unit.actor.roles:
            _note_alone(unit, row, more)


def decide_role(unit: Unit, *, asked: int, grant: bool) -> AskedRole:
    """A second person lets the asked roles act, or refuses them; the person concerned logs in again.

    Errors: ``role.missing``, ``asked.unknown``, ``asked.decided``, ``asked.second`` for who asked and for
    whom it concerns.
    """
    unit.need_role(*MANAGER, *SURGEON)
    # The person is looked for at the own site: elsewhere there is no such wish.
    found = unit.session.exec(_wishes().where(AskedRoleRow.id == asked)).first()
    if found is None:
        raise FollowupError(
            "asked.unknown", say("nobody asked for such a role"), fix=say("look at the list again")
        )
    wish, row = found
    if unit.actor.login in (wish.asked_by, row.login):
        raise FollowupError(
            "asked.second",
            say("a role of medicine needs a second person"),
            fix=say("have another manager or a surgeon look at it"),
        )
    if wish.state != "asked":
        raise FollowupError(
            "asked.decided", say("this was decided meanwhile"), fix=say("look at the list again")
        )
    _decide(unit, wish, "granted" if grant else "refused")
    if grant:
        row.roles = sorted({*row.roles, *wish.roles})
        unit.session.add(row)
        end_sessions_of(unit, login=row.login)
    unit.session.flush()
    return _asked(unit.session, wish, row)


def asked_roles(session: Session) -> tuple[AskedRole, ...]:
    """What waits for a second person at the session's site, the oldest first."""
    waiting = _wishes().where(AskedRoleRow.state == "asked").order_by(col(AskedRoleRow.id))
    return tuple(_asked(session, wish, row) for wish, row in session.exec(waiting))


def given_alone(session: Session, now: datetime) -> tuple[AskedRole, ...]:
    """Roles of medicine that one person gave alone within ``TOLD_FOR``, the newest first."""
    alone = _wishes().where(AskedRoleRow.state == "alone", AskedRoleRow.asked_at > now - TOLD_FOR)
    return tuple(
        _asked(session, wish, row) for wish, row in session.exec(alone.order_by(col(AskedRoleRow.id).desc()))
    )


def _wishes() -> Select[AskedRoleRow, StaffRow]:
    return select(AskedRoleRow, StaffRow).join(StaffRow, col(StaffRow.id) == AskedRoleRow.staff_id)


def _open_of(session: Session, row: StaffRow) -> AskedRoleRow | None:
    return session.exec(
        select(AskedRoleRow).where(AskedRoleRow.staff_id == row.id, AskedRoleRow.state == "asked")
    ).first()


def _somebody_else(unit: Unit, row: StaffRow) -> bool:
    """Whether anybody but the asker and the person concerned could agree: one who finds the person."""
    everybody = unit.session.exec(select(StaffRow).where(StaffRow.active), execution_options=ALL_SITES)
    return any(
        one.login not in (unit.actor.login, row.login)
        and one.site_id in (None, row.site_id)
        and GRANTERS & set(one.roles)
        for one in everybody
    )


def _decide(unit: Unit, wish: AskedRoleRow | None, state: str) -> None:
    if wish is None:
        return
    wish.state, wish.decided_by, wish.decided_at = state, unit.actor.login, unit.now
    unit.session.add(wish)
    row = unit.session.get(StaffRow, wish.staff_id)
    assert row is not None
    unit.log(f"role {state}", f"staff:{row.login}", roles=wish.roles, asked_by=wish.asked_by)


def _note_alone(unit: Unit, row: StaffRow, roles: list[str]) -> None:
    assert row.id is not None
    wish = AskedRoleRow(staff_id=row.id, roles=roles, asked_by=unit.actor.login, asked_at=unit.now)
    wish.state, wish.decided_by, wish.decided_at = "alone", unit.actor.login, unit.now
    unit.session.add(wish)
    unit.log("role given by one person alone", f"staff:{row.login}", roles=roles)


def _asked(session: Session, wish: AskedRoleRow, row: StaffRow) -> AskedRole:
    assert wish.id is not None
    asker = row_of(session, wish.asked_by)
    return AskedRole(
        id=wish.id,
        login=row.login,
        name=row.name or row.login,
        roles=tuple(wish.roles),
        asked_by=wish.asked_by,
        asked_by_name=(asker.name if asker else "") or wish.asked_by,
        asked_at=wish.asked_at,
    )
