"""Log in, who I am, log out, my password; and the protocol with its signature."""

from __future__ import annotations

from datetime import date, datetime

from fastapi import Request, Response

from followup.care.house.account import (
    LogIn,
    NewPassword,
    OwnLanguage,
    close_session,
    new_session,
    read_in,
    set_own_password,
)
from followup.care.house.house import Approval, approve
from followup.desks.api.base import Given, router_of
from followup.desks.door.guard import token_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.account import give_cookie, take_cookie
from followup.records.house.staff import staff_by_login
from followup.records.views import Staff

router = router_of("Log in")


class Me(Given):
    """Who is logged in, at which clinic, the clinic's own day, and the language of what is said (a tag)."""

    login: str
    name: str
    roles: list[str]
    clinic: str
    today: date
    language: str


class Signature(Given):
    signer: str
    registration: str
    signed_at: datetime


class ProtocolOut(Given):
    """The protocol in use; ``signed`` is null while nobody has approved exactly this hash."""

    name: str
    version: str
    hash: str
    signed: Signature | None


@router.post("/session", status_code=201)
def log_in(answer: Response, hand: AnyHand, sent: LogIn) -> Me:
    """Log in."""
    token = new_session(hand, sent)
    give_cookie(answer, hand, token)
    with hand.store.read() as session:
        person = staff_by_login(session, sent.login)
    assert person is not None
    return _me(hand, person)


@router.get("/session")
def who_am_i(hand: AnyHand) -> Me:
    """Who is logged in."""
    assert hand.login is not None
    return _me(hand, hand.login.staff)


@router.delete("/session", status_code=204)
def log_out(request: Request, answer: Response, hand: AnyHand) -> None:
    """Log out."""
    close_session(hand, token_of(request))
    take_cookie(answer, hand)


@router.put("/session/password", status_code=204)
def change_password(hand: AnyHand, sent: NewPassword) -> None:
    """Change one's own password."""
    set_own_password(hand, sent)


@router.put("/session/language", status_code=204)
def choose_language(hand: AnyHand, sent: OwnLanguage) -> None:
    """Choose the language of one's own pages and answers."""
    read_in(hand, sent)


@router.get("/protocol")
def protocol(hand: AnyHand) -> ProtocolOut:
    """The protocol and who approved it."""
    return ProtocolOut.of(hand.protocol, signed=hand.signature)


@router.post("/protocol/sign", status_code=204)
def sign(hand: AnyHand, sent: Approval) -> None:
    """Approve exactly this protocol for patients of the clinic, with the password once more."""
    approve(hand, sent)


def _me(hand: DeskHand, person: Staff) -> Me:
    return Me.of(
        person,
        roles=sorted(person.roles),
        clinic=hand.clinic.name,
        today=hand.today,
        language=person.language or hand.clinic.staff_language,
    )
