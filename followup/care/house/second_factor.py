"""A second factor at one's own log-in: codes of six digits that change every 30 seconds (RFC 6238)."""

from __future__ import annotations

import hmac
from base64 import b32decode, b32encode
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Annotated

from pydantic import Field
from pyotp import TOTP, random_base32

from followup.care.act import Act, Login, Password
from followup.care.hand import Hand
from followup.care.house.log_in_waits import must_not_wait, note_wrong
from followup.care.password_again import must_match
from followup.errors import FollowupError
from followup.recall.codes.sealing import keyed_mark, seal, unseal
from followup.records.house.second_factor import (
    begin_second_factor,
    set_second_factor,
    take_off_second_factor,
)
from followup.records.house.sessions import end_other_sessions
from followup.records.house.staff import staff_by_login
from followup.records.views import Staff
from followup.said import say

STEP_SECONDS = 30
# A clock may be a step behind or ahead of the clinic's (RFC 6238, 5.2).
NEIGHBOURS = (-1, 0, 1)
TICKET_LASTS = timedelta(minutes=5)
# Longer names would make the square too fine to be read.
LONGEST_NAME = 40


Code = Annotated[str, Field(max_length=20)]


class SecondFactor(Act):
    """Begin: the answer holds the key, this once."""

    password: Password


class FirstCode(Act):
    """The first code proves that the key was taken; from then on every log-in needs one."""

    code: Code


class NoSecondFactor(Act):
    """Take it off."""

    password: Password
    code: Code


class CodeOfLogIn(Act):
    """The second step of a log-in. ``ticket``: what the first one gave."""

    login: Login
    ticket: Annotated[str, Field(max_length=100)]
    code: Code


@dataclass(frozen=True)
class NewKey:
    """The key as text (base32), and as the address that authenticator programs read from a square."""

    key: str = field(repr=False)
    address: str = field(repr=False)


class CodeNeededError(FollowupError):
    """The password was right, and a code is needed too. ``ticket``: lets the second step follow."""

    def __init__(self, ticket: str) -> None:
        super().__init__(
            "login.code",
            say("this log-in needs the code of the second factor"),
            fix=say("send the code that your telephone shows now"),
        )
        self.ticket = ticket


def begin(hand: Hand, sent: SecondFactor) -> NewKey:
    """A new key for whoever is logged in. Errors: ``password.wrong``, ``password.own``, ``second.set``."""
    person = must_match(hand, sent.password)
    key = random_base32()
    sealed = seal(b32decode(key), hand.keyring, of=_of(person))
    with hand.store.write(hand.actor, hand.now) as unit:
        begin_second_factor(unit, sealed=sealed)
    # The clinic by its code: capital letters and digits, so that the square stays coarse.
    named = person.login if person.login.isascii() and len(person.login) <= LONGEST_NAME else ""
    address = TOTP(key).provisioning_uri(name=named or hand.clinic.code, issuer_name=hand.clinic.code)
    return NewKey(key, address)


def confirm(hand: Hand, sent: FirstCode) -> None:
    """The second factor counts from now on; every other log-in of the person ends.

    Errors: ``second.none``, ``second.changed``, those of ``right_step``.
    """
    person = _oneself(hand)
    if not person.second_key or person.second_since is not None:
        raise FollowupError(
            "second.none", say("no second factor waits for its first code"), fix=say("begin again")
        )
    step = right_step(hand, person, sent.code)
    with hand.store.write(hand.actor, hand.now) as unit:
        set_second_factor(unit, sealed=person.second_key, step=step)
        end_other_sessions(unit, login=person.login, but=hand.session_id)


def take_off(hand: Hand, sent: NoSecondFactor) -> None:
    """The password alone is enough again.

    Errors: ``password.wrong``, ``password.own``, ``second.none``, those of ``right_step``.
    """
    person = must_match(hand, sent.password)
    if person.second_since is not None:
        right_step(hand, person, sent.code)
    with hand.store.write(hand.actor, hand.now) as unit:
        take_off_second_factor(unit, login=person.login)


def right_step(hand: Hand, person: Staff, code: str) -> int:
    """The step whose code it is; a wrong one counts as a wrong log-in, wherever it was asked for.

    Errors: ``login.wait``, ``login.code`` (wrong, or used already), ``second.key``.
    """
    must_not_wait(hand, person.login)
    secret = unseal(person.second_key, hand.keyring, of=_of(person))
    if secret is None:
        raise FollowupError(
            "second.key",
            say("the key of this second factor can't be read with the clinic's key file"),
            fix=say("have it taken off at the clinic's computer itself"),
        )
    step = step_of(b32encode(secret).decode("ascii"), code, hand.now, after=person.second_step)
    if step is None:
        note_wrong(hand, person.login)
        raise FollowupError(
            "login.code",
            say("this code is not right, or it was used already"),
            fix=say("type the code that your telephone shows now; its clock must be right"),
        )
    return step


def step_of(key: str, code: str, now: datetime, *, after: int = 0) -> int | None:
    """The step of 30 seconds around ``now``, later than ``after``, in which ``key`` makes ``code``."""
    codes, here = TOTP(key, interval=STEP_SECONDS), int(now.timestamp()) // STEP_SECONDS
    steps = [here + one for one in NEIGHBOURS]
    # As telephones show it, with a blank in the middle or without.
    typed = "".join(code.split()).encode()
    # All three are compared, so that the time does not tell which one it was.
    right = [hmac.compare_digest(codes.generate_otp(one).encode(), typed) for one in steps]
    return next((one for one, same in zip(steps, right, strict=True) if same and one > after), None)


def ticket_of(hand: Hand, person: Staff) -> str:
    """What proves for TICKET_LASTS that the password was right; worthless once a code was taken."""
    return _ticket(hand, person, int((hand.now + TICKET_LASTS).timestamp()))


def holds(hand: Hand, person: Staff | None, ticket: str) -> bool:
    """Whether the ticket is this person's and still holds."""
    until, _, _ = ticket.partition(".")
    if person is None or person.second_since is None or not (until.isascii() and until.isdecimal()):
        return False
    lasts = hand.now.timestamp() <= int(until) <= (hand.now + TICKET_LASTS).timestamp()
    return lasts and hmac.compare_digest(ticket.encode(), _ticket(hand, person, int(until)).encode())


def _ticket(hand: Hand, person: Staff, until: int) -> str:
    seen = "\0".join((person.login, str(until), person.password_hash, str(person.second_step)))
    return f"{until}.{keyed_mark(hand.keyring, seen, of='log-in ticket')}"


def _oneself(hand: Hand) -> Staff:
    with hand.store.read() as session:
        person = staff_by_login(session, hand.actor.login)
    assert person is not None
    return person


def _of(person: Staff) -> str:
    return f"second factor of {person.id}"
