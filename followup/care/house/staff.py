"""The people who work here: who may log in, and as what. Whoever changes that gives the password again."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from followup.care.act import Act, Line, Login, Password, Truth
from followup.care.hand import Hand
from followup.care.new_password import known_texts, stored_password
from followup.care.password_again import must_match
from followup.errors import FollowupError
from followup.language.entered import must_print_text
from followup.records.duties import MANAGER
from followup.records.house.asked_roles import decide_role
from followup.records.house.staff import add_staff, change_staff, staff_by_login
from followup.records.house.staff_rows import OF_THE_PROGRAM, log_in_name
from followup.records.views import AskedRole, Staff
from followup.said import say
from followup.typed import typed

Role = Literal["counsellor", "reception", "surgeon", "pharmacy", "manager"]


class NewStaff(Act):
    """``new_password``: with which the person logs in first; ``password``: of whoever adds the person."""

    login: Login
    name: Annotated[Line, Field(min_length=1, max_length=120)]
    roles: Annotated[list[Role], Field(min_length=1, max_length=5)]
    new_password: Password
    password: Password
    registration: Annotated[Line, Field(max_length=120)] = ""


class StaffChange(Act):
    """``new_password``, ``registration``: new ones, or null to keep the old.

    ``roles``: those that the person has and those that are asked for; what is left out is taken away.
    ``password``: of whoever changes it. ``seen``: of the person as it was looked at.
    """

    roles: Annotated[list[Role], Field(min_length=1, max_length=5)]
    active: Truth
    password: Password
    new_password: Password | None = None
    registration: Annotated[Line, Field(max_length=120)] | None = None
    seen: Annotated[str, Field(max_length=64)] | None = None


class RoleDecision(Act):
    """Grant or refuse what a manager asked for; ``password``: of the second person, who decides."""

    grant: Truth
    password: Password


def login_name(text: str) -> str:
    """What somebody logs in with. Error ``staff.login``."""
    login = log_in_name(text)
    if not login or login in OF_THE_PROGRAM:
        raise FollowupError(
            "staff.login",
            say("the log-in name {login} can't be used", login=typed(login)),
            fix=say("choose another"),
        )
    return login


def staff_name(text: str) -> str:
    """A name that colleagues know. Errors: ``staff.name``, ``language.glyph``."""
    name = text.strip()
    if not name:
        raise FollowupError(
            "staff.name", say("no name"), where=say("name"), fix=say("give the name that colleagues know")
        )
    return must_print_text(name, "name")


def add_person(hand: Hand, sent: NewStaff) -> Staff:
    """Someone new who may log in.

    Errors: ``staff.name``, ``language.glyph``, those of both passwords and of ``add_staff``.
    """
    staff_name(sent.name)
    must_match(hand, sent.password)
    known = known_texts(hand.clinic, sent.login, sent.name)
    stored = stored_password(hand.passwords, sent.new_password, known=known)
    with hand.store.write(hand.actor, hand.now) as unit:
        return add_staff(
            unit,
            login=sent.login,
            name=sent.name,
            roles=sent.roles,
            password_hash=stored,
            registration=sent.registration,
        )


def change_person(hand: Hand, login: str, sent: StaffChange) -> Staff:
    """Roles, whether the person may log in, and a new password where there is one.

    Errors: ``staff.self``, those of both passwords and of ``change_staff``.
    """
    manages = sent.active and set(MANAGER).issubset(sent.roles)
    with hand.store.read() as session:
        person = staff_by_login(session, login)
    oneself = (log_in_name(login), person.login if person else "")
    if hand.actor.login in oneself and not manages:
        raise FollowupError(
            "staff.self",
            say("you can't take this page away from yourself"),
            fix=say("have another manager do it"),
        )
    must_match(hand, sent.password)
    known = known_texts(hand.clinic, login, person.name if person else "")
    stored = stored_password(hand.passwords, sent.new_password, known=known) if sent.new_password else None
    with hand.store.write(hand.actor, hand.now) as unit:
        return change_staff(
            unit,
            login=login,
            roles=sent.roles,
            active=sent.active,
            password_hash=stored,
            registration=sent.registration,
            seen=sent.seen,
        )


def decide_asked_role(hand: Hand, asked: int, sent: RoleDecision) -> AskedRole:
    """A second person grants or refuses roles of medicine.

    Errors: those of the password and of ``decide_role``.
    """
    must_match(hand, sent.password)
    with hand.store.write(hand.actor, hand.now) as unit:
        return decide_role(unit, asked=asked, grant=sent.grant)
