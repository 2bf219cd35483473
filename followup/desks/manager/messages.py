"""The manager's list of messages that did not go out, each to be tried again."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from followup.care.house.house import send_again
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.errors import FollowupError
from followup.records.people.messages import unsent_messages
from followup.records.people.patients import patient_by_code

router = APIRouter()


@router.get("/messages")
def unsent(request: Request, hand: AnyHand) -> Response:
    return _page(request, hand)


@router.post("/messages/{message}/again")
def again(request: Request, hand: AnyHand, message: int) -> Response:
    """Put a failed message back into the queue; the next minute's run sends it under its old key."""
    try:
        send_again(hand, message)
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, status=status_of(exc))
    return go("/messages")


def _page(request: Request, hand: DeskHand, error: str = "", status: int = 200) -> Response:
    """Texts are not shown: who, what kind and why it failed are enough to act."""
    with hand.store.read() as session:
        found = unsent_messages(session, before=hand.now)
        people = (patient_by_code(session, code) for code in {one.patient_code for one in found})
        names = {who.code: who.name for who in people if who}
    return show(request, "messages.html", messages=found, names=names, error=error, status=status)
