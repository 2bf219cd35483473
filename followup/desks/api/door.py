"""Log in, who I am, log out, my password; and the protocol with its signature."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated

from fastapi import Path, Request, Response

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
from followup.care.house.log_ins import end_log_in, end_other_log_ins, own_log_ins
from followup.care.house.second_factor import (
    FirstCode,
    NoSecondFactor,
    SecondFactor,
    begin,
    confirm,
    take_off,
)
from followup.desks.api.base import Given, router_of
from followup.desks.door.guard import IDLE, token_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.account import browser_of, give_cookie, take_cookie
from followup.records.house.staff import staff_by_login
from followup.records.views import Staff

router = router_of("Log in")


class Me(Given):
    """Who is logged in, at which clinic, the clinic's own day, and the language of what is said (a tag).

    ``own_password``: the person chose it; with one that somebody else set nothing can be signed.
    ``second_factor``: the log-in needs a code.
    """

    login: str
    name: str
    roles: list[str]
    own_password: bool
    second_factor: bool
    clinic: str
    today: date
    language: str


class NewKeyOut(Given):
    """The key of a second factor as text (base32), and as the address that makes the square to scan."""

    key: str
    address: str


class LogInOut(Given):
    """One of one's own log-ins that are in force; ``here``: the one that asks."""

    name: str
    created_at: datetime
    last_seen: datetime
    browser: str
    here: bool


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
def log_in(request: Request, answer: Response, hand: AnyHand, sent: LogIn) -> Me:
    """Log in."""
    token = new_session(hand, sent, browser=browser_of(request), instead_of=token_of(request))
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


@router.post("/session/second-factor")
def begin_second_factor(hand: AnyHand, sent: SecondFactor) -> NewKeyOut:
    """Begin a second factor; the answer holds its key, this once. It counts once a first code was sent."""
    return NewKeyOut.of(begin(hand, sent))


@router.put("/session/second-factor", status_code=204)
def set_second_factor(hand: AnyHand, sent: FirstCode) -> None:
    """Send the first code: from then on every log-in needs one."""
    confirm(hand, sent)


@router.post("/session/second-factor/off", status_code=204)
def take_second_factor_off(hand: AnyHand, sent: NoSecondFactor) -> None:
    """Take one's own second factor off."""
    take_off(hand, sent)


@router.put("/session/language", status_code=204)
def choose_language(hand: AnyHand, sent: OwnLanguage) -> None:
    """Choose the language of one's own pages and answers."""
    read_in(hand, sent)


@router.get("/sessions")
def log_ins(hand: AnyHand) -> list[LogInOut]:
    """Where one is logged in oneself."""
    return [LogInOut.of(one, here=one.id == hand.session_id) for one in own_log_ins(hand, idle=IDLE)]


@router.delete("/sessions", status_code=204)
def end_others(hand: AnyHand) -> None:
    """End all of one's own log-ins but the one that asks."""
    end_other_log_ins(hand)


@router.delete("/sessions/{session}", status_code=204)
def end_one(hand: AnyHand, session: Annotated[str, Path(min_length=1, max_length=64)]) -> None:
    """End one of one's own log-ins, by its name."""
    end_log_in(hand, session)


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
        own_password=person.password_own,
        second_factor=person.second_since is not None,
        clinic=hand.clinic.name,
        today=hand.today,
        language=person.language or hand.clinic.staff_language,
    )
