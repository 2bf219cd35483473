"""The protocol: what it is, and the signature that lets plans be signed."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from followup.care.password_again import must_match
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, first
from followup.errors import FollowupError
from followup.records.plans.protocols import sign_protocol
from followup.said import say
from followup.sheets.paper.protocol_print import must_print

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
        approve(hand, hash=first(form, "hash"), password=form.get("password", [""])[0])
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, status=status_of(exc))
    return go("/protocol")


def approve(hand: DeskHand, *, hash: str, password: str) -> None:
    """Sign the protocol with this hash, with the password once more.

    Errors: ``protocol.changed``, ``password.wrong``, those of ``must_print`` and of ``sign_protocol``.
    """
    protocol = hand.protocol
    if hash != protocol.hash:
        raise FollowupError(
            "protocol.changed", say("the protocol has changed"), fix=say("read it again, then sign")
        )
    must_print(protocol)
    must_match(hand, password)
    with hand.store.write(hand.actor, hand.now) as unit:
        sign_protocol(unit, hash=protocol.hash, name=protocol.name, version=protocol.version)


def _page(request: Request, hand: DeskHand, *, error: str | None = None, status: int = 200) -> Response:
    return show(request, "protocol.html", status=status, protocol=hand.protocol, error=error)
