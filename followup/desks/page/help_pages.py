"""Help: one screen for each desk."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from followup.desks.door.hand import AnyHand
from followup.desks.door.permissions import ROLES
from followup.desks.page.pages import desk_of, go, show
from followup.errors import FollowupError
from followup.said import say

router = APIRouter()


@router.get("/help")
def help_page(hand: AnyHand) -> Response:
    return go(f"/help/{desk_of('/help', hand.roles)}")


@router.get("/help/{desk}")
def help_of_desk(request: Request, desk: str) -> Response:
    if desk not in ROLES:
        raise FollowupError("help.unknown", say("no such desk"), fix=say("open the help of one of the desks"))
    return show(request, "help.html", desk=desk, desks=ROLES)
