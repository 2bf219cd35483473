"""The people who work here: who may log in, and as what."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from followup.care.act import Act, Line, Login, Password, Truth
from followup.care.hand import Hand
from followup.errors import FollowupError
from followup.language.entered import must_print_text
from followup.records.duties import MANAGER
from followup.records.house.staff import add_staff, change_staff
from followup.records.views import Staff
from followup.said import say

Role = Literal["counsellor", "reception", "surgeon", "pharmacy", "manager"]


class NewStaff(Act):
    login: Login
    name: Annotated[Line, Field(min_length=1, max_length=120)]
    roles: Annotated[list[Role], Field(min_length=1, max_length=5)]
    password: Password
    registration: Annotated[Line, Field(max_length=120)] = ""


class StaffChange(Act):
    """``password``: a new one, or null to keep the old. ``seen``: of the person as it was looked at."""

    roles: Annotated[list[Role], Field(min_length=1, max_length=5)]
    active: Truth
    password: Password | None = None
    seen: Annotated[str, Field(max_length=64)] | None = None


def add_person(hand: Hand, sent: NewStaff) -> Staff:
    """Someone new who may log in.

    Errors: ``staff.name``, ``language.glyph``, those of the password and of ``add_staff``.
    """
    if not sent.name:
        raise FollowupError(
            "staff.name", say("no name"), where=say("name"), fix=say("give the name that colleagues know")
        )
    must_print_text(sent.name, "name")
    stored = hand.passwords.hash(sent.password)
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

    Errors: ``staff.self``, those of the password and of ``change_staff``.
    """
    manages = sent.active and set(MANAGER).issubset(sent.roles)
    if login.strip().casefold() == hand.actor.login and not manages:
        raise FollowupError(
            "staff.self",
            say("you can't take this page away from yourself"),
            fix=say("have another manager do it"),
        )
    stored = hand.passwords.hash(sent.password) if sent.password else None
    with hand.store.write(hand.actor, hand.now) as unit:
        return change_staff(
            unit, login=login, roles=sent.roles, active=sent.active, password_hash=stored, seen=sent.seen
        )
