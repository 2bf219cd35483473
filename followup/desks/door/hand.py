"""Who asks, at which desk: what the guard has let in, for every route."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Annotated, cast

from fastapi import Depends, Request

from followup.care.hand import Hand
from followup.care.passwords import Passwords, usual_passwords
from followup.care.records.opening import KnownOpenings
from followup.clinical.protocol.protocol import Protocol
from followup.desks.door.names import LOOPBACK
from followup.desks.words.texts import Texts
from followup.recall.codes.codes import Keyring
from followup.records.channels import Channel
from followup.records.store.store import Store
from followup.records.views import Clinic, LoginSession, ProtocolSignature


@dataclass(frozen=True)
class Desk:
    """Everything from outside, given once. ``clock`` tells the instant; ``https`` hardens the cookie.

    ``unencrypted``: the pages leave this computer as anybody on the way can read them.
    ``names``: under which names and addresses the pages are reached, in small letters. ``opened``: whose
    looks are in the journal already, for as long as the process lives. ``trusted_proxy``: address of the
    server in front that says where a request comes from; empty: none.
    """

    store: Store
    protocol: Protocol
    keyring: Keyring
    clock: Callable[[], datetime]
    passwords: Passwords = field(default_factory=usual_passwords)
    https: bool = False
    trusted_proxy: str = ""
    ways_out: frozenset[Channel] = frozenset({"paper"})
    names: frozenset[str] = LOOPBACK
    unencrypted: bool = False
    opened: KnownOpenings = field(default_factory=KnownOpenings)


@dataclass(frozen=True, kw_only=True)
class DeskHand(Hand):
    """One request: who makes it, with which log-in, in the staff's language."""

    desk: Desk
    login: LoginSession | None
    signature: ProtocolSignature | None

    @property
    def roles(self) -> frozenset[str]:
        return self.login.staff.roles if self.login else frozenset({"anonymous"})

    @property
    def language(self) -> str:
        """The tag of the language of whoever is logged in, else of the clinic's."""
        own = self.login.staff.language if self.login else ""
        return own or self.clinic.staff_language

    @cached_property
    def texts(self) -> Texts:
        """The staff's language, made ready once for everything that this request says."""
        return Texts(self.language, self.today.year)


def desk_hand(
    desk: Desk,
    clinic: Clinic,
    now: datetime,
    login: LoginSession | None,
    signature: ProtocolSignature | None,
    origin: str = "",
) -> DeskHand:
    """The hand of whoever is logged in at ``desk``, nobody's without ``login``."""
    return DeskHand(
        store=desk.store,
        protocol=desk.protocol,
        keyring=desk.keyring,
        passwords=desk.passwords,
        ways_out=desk.ways_out,
        clinic=clinic,
        now=now,
        person=login.staff.actor if login else None,
        approved=signature is not None,
        desk=desk,
        login=login,
        signature=signature,
        origin=origin,
        session_id=login.id if login else "",
    )


def desk_of(request: Request) -> Desk:
    """The desk that the application was made with."""
    return cast(Desk, request.app.state.desk)


def hand_of(request: Request) -> DeskHand:
    """The hand that the guard has let in."""
    return cast(DeskHand, request.state.hand)


AnyHand = Annotated[DeskHand, Depends(hand_of)]
