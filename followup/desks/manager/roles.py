"""Roles of medicine that wait for a second person: another manager or a surgeon grants or refuses them."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from followup.care.house.staff import RoleDecision, decide_asked_role
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.notices import to_decide
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, as_typed, first, number_of, password_of
from followup.errors import FollowupError

router = APIRouter()


@router.get("/roles")
def roles_page(request: Request, hand: AnyHand) -> Response:
    return _page(request, hand)


@router.post("/roles/{asked}")
def decide(request: Request, hand: AnyHand, asked: str, form: AForm) -> Response:
    sent = as_typed(RoleDecision, grant=first(form, "grant") == "yes", password=password_of(form))
    try:
        decide_asked_role(hand, number_of(asked), sent)
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, status=status_of(exc))
    return go("/roles")


def _page(request: Request, hand: DeskHand, *, error: str | None = None, status: int = 200) -> Response:
    with hand.store.read() as session:
        waiting = to_decide(session, hand)
    return show(request, "roles.html", status=status, waiting=waiting, error=error)
