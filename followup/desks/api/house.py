"""The manager: calendar, messages that did not go out, the people who work here."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated

from fastapi import Path

from followup.care.act import MOST_ID
from followup.care.house.calendars import NewCalendar, replace_calendar, seen_mark
from followup.care.house.house import send_again
from followup.care.house.staff import (
    NewStaff,
    RoleDecision,
    StaffChange,
    add_person,
    change_person,
    decide_asked_role,
)
from followup.desks.api.base import Given, router_of
from followup.desks.door.hand import AnyHand
from followup.records.channels import Channel
from followup.records.house.asked_roles import asked_roles
from followup.records.house.staff import all_staff
from followup.records.people.messages import unsent_messages
from followup.records.store.store import Session
from followup.records.views import AskedRole, Staff
from followup.timing.calendar import Calendar

router = router_of("Pharmacy and manager")


class CalendarOut(Given):
    """The clinic's calendar; ``seen`` goes back with a change of it."""

    calendar: Calendar
    seen: str


class Unsent(Given):
    """A message that did not go out, without its words."""

    id: int
    patient_code: str
    kind: str
    day: date
    last_useful: date
    channel: Channel
    state: str
    tries: int
    last_error: str


class StaffOut(Given):
    """Someone who works here; ``seen`` goes back with a change of the person.

    ``asked``: roles that wait for a second person. ``own_password``: the person chose it, and can sign.
    """

    login: str
    name: str
    registration: str
    roles: list[str]
    asked: list[str]
    own_password: bool
    active: bool
    seen: str


class AskedRoleOut(Given):
    """Roles of medicine that ``asked_by`` (a log-in name) wants ``login`` to have."""

    id: int
    login: str
    name: str
    roles: list[str]
    asked_by: str
    asked_at: datetime


@router.get("/calendar")
def calendar(hand: AnyHand) -> CalendarOut:
    """Open days, holidays, services and their places."""
    return CalendarOut(calendar=hand.calendar, seen=seen_mark(hand.clinic))


@router.put("/calendar", status_code=204)
def change_calendar(hand: AnyHand, sent: NewCalendar) -> None:
    """Set the calendar. Signed plans keep their visits."""
    replace_calendar(hand, sent)


@router.get("/messages")
def unsent(hand: AnyHand) -> list[Unsent]:
    """Messages that did not go out."""
    with hand.store.read() as session:
        return [Unsent.model_validate(one) for one in unsent_messages(session, before=hand.now)]


@router.post("/messages/{message}/again", status_code=204)
def again(hand: AnyHand, message: Annotated[int, Path(ge=1, le=999_999_999)]) -> None:
    """Try a failed message again."""
    send_again(hand, message)


@router.get("/staff")
def staff(hand: AnyHand) -> list[StaffOut]:
    """Everybody who works here."""
    with hand.store.read() as session:
        return [_staff(session, person) for person in all_staff(session)]


@router.post("/staff", status_code=201)
def add(hand: AnyHand, sent: NewStaff) -> StaffOut:
    """Someone new who may log in; a role of medicine waits for a second person."""
    person = add_person(hand, sent)
    with hand.store.read() as session:
        return _staff(session, person)


@router.put("/staff/{login}")
def change(
    hand: AnyHand, login: Annotated[str, Path(min_length=1, max_length=120)], sent: StaffChange
) -> StaffOut:
    """Change roles, whether the person may log in, or the password; sessions of that person end.

    A role of medicine that the person does not have yet waits for a second person.
    """
    person = change_person(hand, login, sent)
    with hand.store.read() as session:
        return _staff(session, person)


@router.get("/roles")
def waiting_roles(hand: AnyHand) -> list[AskedRoleOut]:
    """Roles of medicine that wait for a second person."""
    with hand.store.read() as session:
        return [_asked(one) for one in asked_roles(session)]


@router.post("/roles/{asked}")
def decide(hand: AnyHand, asked: Annotated[int, Path(ge=1, le=MOST_ID)], sent: RoleDecision) -> AskedRoleOut:
    """Grant or refuse them, as somebody who neither asked nor is the person concerned."""
    return _asked(decide_asked_role(hand, asked, sent))


def _staff(session: Session, person: Staff) -> StaffOut:
    asked = [role for one in asked_roles(session) if one.login == person.login for role in one.roles]
    return StaffOut.of(
        person, roles=sorted(person.roles), asked=asked, own_password=person.password_own, seen=person.mark
    )


def _asked(one: AskedRole) -> AskedRoleOut:
    return AskedRoleOut.of(one, roles=list(one.roles))
