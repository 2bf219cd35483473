"""The manager: calendar, messages that did not go out, the people who work here."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import Path

from followup.care.house.calendars import NewCalendar, replace_calendar, seen_mark
from followup.care.house.house import send_again
from followup.care.house.staff import NewStaff, StaffChange, add_person, change_person
from followup.desks.api.base import Given, router_of
from followup.desks.door.hand import AnyHand
from followup.records.channels import Channel
from followup.records.house.staff import all_staff
from followup.records.people.messages import unsent_messages
from followup.records.views import Staff
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
    """Someone who works here; ``seen`` goes back with a change of the person."""

    login: str
    name: str
    registration: str
    roles: list[str]
    active: bool
    seen: str


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
        return [_staff(person) for person in all_staff(session)]


@router.post("/staff", status_code=201)
def add(hand: AnyHand, sent: NewStaff) -> StaffOut:
    """Someone new who may log in."""
    return _staff(add_person(hand, sent))


@router.put("/staff/{login}")
def change(
    hand: AnyHand, login: Annotated[str, Path(min_length=1, max_length=120)], sent: StaffChange
) -> StaffOut:
    """Change roles, whether the person may log in, or the password; sessions of that person end."""
    return _staff(change_person(hand, login, sent))


def _staff(person: Staff) -> StaffOut:
    return StaffOut.of(person, roles=sorted(person.roles), seen=person.mark)
