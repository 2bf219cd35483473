"""The manager: calendar, messages that did not go out, the people who work here."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from fastapi import Path
from pydantic import Field

from followup.desks.api.base import Given, Line, Login, Password, Sent, Truth, router_of
from followup.desks.door.hand import AnyHand
from followup.desks.manager.calendar import replace_calendar, seen_mark
from followup.desks.manager.staff import add_person, change_person
from followup.records.house.staff import all_staff
from followup.records.people.messages import Channel, try_again, unsent_messages
from followup.records.views import Staff
from followup.timing.calendar import Calendar

router = router_of("Pharmacy and manager")
Role = Literal["counsellor", "reception", "surgeon", "pharmacy", "manager"]


class CalendarOut(Given):
    """The clinic's calendar; ``seen`` goes back with a change of it."""

    calendar: Calendar
    seen: str


class NewCalendar(Sent):
    """The whole calendar in place of the one that ``seen`` stands for."""

    calendar: Calendar
    seen: Annotated[str, Field(max_length=64)]


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
    """Someone who works here; ``seen`` goes back with a change of the person."""

    login: str
    name: str
    registration: str
    roles: list[str]
    active: bool
    seen: str


class NewStaff(Sent):
    login: Login
    name: Annotated[Line, Field(min_length=1, max_length=120)]
    roles: Annotated[list[Role], Field(min_length=1, max_length=5)]
    password: Password
    registration: Annotated[Line, Field(max_length=120)] = ""


class StaffChange(Sent):
    """``password``: a new one, or null to keep the old. ``seen``: of the person as it was looked at."""

    roles: Annotated[list[Role], Field(min_length=1, max_length=5)]
    active: Truth
    password: Password | None = None
    seen: Annotated[str, Field(max_length=64)] | None = None


@router.get("/calendar")
def calendar(hand: AnyHand) -> CalendarOut:
    """Open days, holidays, services and their places."""
    return CalendarOut(calendar=hand.calendar, seen=seen_mark(hand.clinic))


@router.put("/calendar", status_code=204)
def change_calendar(hand: AnyHand, sent: NewCalendar) -> None:
    """Set the calendar. Signed plans keep their visits."""
    replace_calendar(hand, sent.calendar.model_dump(mode="json", exclude_defaults=True), seen=sent.seen)


@router.get("/messages")
def unsent(hand: AnyHand) -> list[Unsent]:
    """Messages that did not go out."""
    with hand.store.read() as session:
        return [Unsent.model_validate(one) for one in unsent_messages(session, before=hand.now)]


@router.post("/messages/{message}/again", status_code=204)
def again(hand: AnyHand, message: Annotated[int, Path(ge=1, le=999_999_999)]) -> None:
    """Try a failed message again."""
    with hand.store.write(hand.actor, hand.now) as unit:
        try_again(unit, message_id=message)


@router.get("/staff")
def staff(hand: AnyHand) -> list[StaffOut]:
    """Everybody who works here."""
    with hand.store.read() as session:
        return [_staff(person) for person in all_staff(session)]


@router.post("/staff", status_code=201)
def add(hand: AnyHand, sent: NewStaff) -> StaffOut:
    """Someone new who may log in."""
    made = add_person(
        hand,
        login=sent.login,
        name=sent.name,
        roles=sent.roles,
        password=sent.password,
        registration=sent.registration,
    )
    return _staff(made)


@router.put("/staff/{login}")
def change(
    hand: AnyHand, login: Annotated[str, Path(min_length=1, max_length=120)], sent: StaffChange
) -> StaffOut:
    """Change roles, whether the person may log in, or the password; sessions of that person end."""
    changed = change_person(
        hand,
        login,
        roles=sent.roles,
        active=sent.active,
        password=sent.password or "",
        seen=sent.seen,
    )
    return _staff(changed)


def _staff(person: Staff) -> StaffOut:
    return StaffOut(
        login=person.login,
        name=person.name,
        registration=person.registration,
        roles=sorted(person.roles),
        active=person.active,
        seen=person.mark,
    )
