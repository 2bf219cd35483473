"""The protocol: what it is, and the signature that lets plans be signed."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from followup.care.house.house import Approval, approve
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, as_typed, first, password_of
from followup.errors import FollowupError
from followup.said import say

router = APIRouter()


@router.get("/protocol")
def protocol_page(request: Request, hand: AnyHand) -> Response:
    return _page(request, hand)


@router.post("/protocol/sign")
def sign(request: Request, hand: AnyHand, form: AForm) -> Response:
    """A licensed clinician approves exactly this protocol for patients of the clinic."""
    if hand.signature:
        return go("/protocol")
    try:
        if first(form, "read") != "yes":
            raise FollowupError(
                "protocol.read",
                say("not confirmed"),
                where=say("I have read it"),
                fix=say("read the files, then tick the box"),
            )
        approve(hand, as_typed(Approval, hash=first(form, "hash"), password=password_of(form)))
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, status=status_of(exc))
    return go("/protocol")


def _page(request: Request, hand: DeskHand, *, error: str | None = None, status: int = 200) -> Response:
    return show(request, "protocol.html", status=status, protocol=hand.protocol, error=error)
