"""What stands on somebody's first page about log-ins and roles: what a person must not learn by chance."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from followup.desks.door.hand import DeskHand
from followup.desks.door.permissions import SURGEON, may
from followup.records.house.asked_roles import TOLD_FOR, asked_roles, given_alone
from followup.records.house.staff import staff_by_login
from followup.records.house.staff_rows import OF_THE_PROGRAM
from followup.records.store.store import Session
from followup.records.views import AskedRole, Staff


@dataclass(frozen=True)
class Reset:
    """Somebody else set the password at ``at``; ``by`` is empty where it was done on the computer itself."""

    at: datetime
    by: str


@dataclass(frozen=True)
class Notices:
    """``own``: the password is the person's own. ``waiting``: so many wait for this person to decide.

    ``alone``: roles of medicine that one person gave, where nobody else could have agreed.
    """

    own: bool
    reset: Reset | None
    waiting: int
    alone: tuple[AskedRole, ...]


def notices_of(hand: DeskHand) -> Notices:
    """Those of whoever is logged in."""
    assert hand.login is not None
    person = hand.login.staff
    with hand.store.read() as session:
        return Notices(
            person.password_own,
            reset_of(session, person, hand.now),
            len(to_decide(session, hand)),
            given_alone(session, hand.now) if SURGEON in hand.roles else (),
        )


def to_decide(session: Session, hand: DeskHand) -> list[AskedRole]:
    """The roles that wait for a second person, where whoever is logged in could be that one."""
    if not may(hand.roles, "GET", "/roles"):
        return []
    me = hand.actor.login
    return [one for one in asked_roles(session) if me not in (one.login, one.asked_by)]


def reset_of(session: Session, person: Staff, now: datetime) -> Reset | None:
    """Who set another password for the person, for as long as that is told."""
    if person.reset_at is None or person.reset_at <= now - TOLD_FOR:
        return None
    if person.reset_by in OF_THE_PROGRAM:
        return Reset(person.reset_at, "")
    by = staff_by_login(session, person.reset_by)
    return Reset(person.reset_at, (by.name if by else "") or person.reset_by)
