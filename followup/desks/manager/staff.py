"""The manager's page of the people who work here: who may log in, and as what."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import APIRouter, Request, Response

from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.permissions import MANAGER, ROLES
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, first
from followup.errors import FollowupError
from followup.language.entered import must_print_text
from followup.records.house.staff import add_staff, all_staff, change_staff
from followup.records.views import Staff
from followup.said import say

router = APIRouter()


@router.get("/staff")
def staff_page(request: Request, hand: AnyHand) -> Response:
    return _page(request, hand)


@router.post("/staff")
def add(request: Request, hand: AnyHand, form: AForm) -> Response:
    try:
        add_person(
            hand,
            login=first(form, "login"),
            name=first(form, "name"),
            roles=form.get("roles", []),
            password=form.get("password", [""])[0],
            registration=first(form, "registration"),
        )
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, status=status_of(exc), typed=form)
    return go("/staff")


@router.post("/staff/{login}")
def change(request: Request, hand: AnyHand, login: str, form: AForm) -> Response:
    """Roles, whether the person may log in, and a new password where one is typed."""
    password = form.get("password", [""])[0]
    roles, active = form.get("roles", []), first(form, "active") == "yes"
    try:
        change_person(
            hand, login, roles=roles, active=active, password=password, seen=first(form, "seen") or None
        )
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, status=status_of(exc))
    return go("/staff")


def add_person(
    hand: DeskHand, *, login: str, name: str, roles: Sequence[str], password: str, registration: str
) -> Staff:
    """Someone new who may log in.

    Errors: ``staff.name``, ``language.glyph``, those of the password and of ``add_staff``.
    """
    if not name:
        raise FollowupError(
            "staff.name", say("no name"), where=say("name"), fix=say("give the name that colleagues know")
        )
    must_print_text(name, "name")
    stored = hand.passwords.hash(password)
    with hand.store.write(hand.actor, hand.now) as unit:
        return add_staff(
            unit, login=login, name=name, roles=roles, password_hash=stored, registration=registration
        )


def change_person(
    hand: DeskHand,
    login: str,
    *,
    roles: Sequence[str],
    active: bool,
    password: str,
    seen: str | None = None,
) -> Staff:
    """Roles, whether the person may log in, and a new password where there is one.

    ``seen``: the mark of the person that the change was made from.
    Errors: ``staff.self``, those of the password and of ``change_staff``.
    """
    if login.strip().casefold() == hand.actor.login and (MANAGER not in roles or not active):
        raise FollowupError(
            "staff.self",
            say("you can't take this page away from yourself"),
            fix=say("have another manager do it"),
        )
    stored = hand.passwords.hash(password) if password else None
    with hand.store.write(hand.actor, hand.now) as unit:
        return change_staff(unit, login=login, roles=roles, active=active, password_hash=stored, seen=seen)


def _page(
    request: Request,
    hand: DeskHand,
    *,
    error: str | None = None,
    status: int = 200,
    typed: Posted | None = None,
) -> Response:
    with hand.store.read() as session:
        people = all_staff(session)
    return show(
        request, "staff.html", status=status, people=people, roles=ROLES, error=error, typed=typed or {}
    )
