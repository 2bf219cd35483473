"""The manager's page of the people who work here: who may log in, and as what."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from followup.care.house.first_steps import first_steps
from followup.care.house.staff import NewStaff, StaffChange, add_person, change_person
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.permissions import ROLES
from followup.desks.door.statuses import status_of
from followup.desks.page.notices import reset_of
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, as_typed, first, password_of
from followup.errors import FollowupError
from followup.records.house.asked_roles import asked_roles, given_alone
from followup.records.house.staff import all_staff

router = APIRouter()


@router.get("/staff")
def staff_page(request: Request, hand: AnyHand) -> Response:
    return _page(request, hand)


@router.post("/staff")
def add(request: Request, hand: AnyHand, form: AForm) -> Response:
    try:
        given = {name: first(form, name) for name in ("login", "name", "registration", "new_password")}
        add_person(hand, as_typed(NewStaff, **given, roles=form.get("roles", []), password=password_of(form)))
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, status=status_of(exc), typed=form)
    return go("/staff")


@router.post("/staff/{login}")
def change(request: Request, hand: AnyHand, login: str, form: AForm) -> Response:
    """Roles, registration, whether the person may log in, and a new password where one is typed."""
    change = as_typed(
        StaffChange,
        roles=form.get("roles", []),
        active=first(form, "active") == "yes",
        password=password_of(form),
        new_password=first(form, "new_password") or None,
        registration=first(form, "registration") if "registration" in form else None,
        seen=first(form, "seen") or None,
    )
    try:
        change_person(hand, login, change)
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, status=status_of(exc))
    return go("/staff")


def _page(
    request: Request,
    hand: DeskHand,
    *,
    error: str | None = None,
    status: int = 200,
    typed: Posted | None = None,
) -> Response:
    with hand.store.read() as session:
        people, asked = all_staff(session), asked_roles(session)
        resets = [(one, reset) for one in people if (reset := reset_of(session, one, hand.now))]
        alone = given_alone(session, hand.now)
    return show(
        request,
        "staff.html",
        status=status,
        people=people,
        asked=asked,
        wished={one.login: one.roles for one in asked},
        resets=resets,
        alone=alone,
        roles=ROLES,
        steps=first_steps(hand),
        error=error,
        typed=typed or {},
    )
