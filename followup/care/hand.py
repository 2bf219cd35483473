"""What every request of the desks stands on: the store, the protocol, the keys and the clock."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from followup.care.passwords import Passwords
from followup.clinical.protocol.protocol import Protocol
from followup.desks.words.texts import Texts
from followup.recall.codes.codes import Keyring
from followup.records.people.messages import Channel
from followup.records.store.store import Store
from followup.records.views import Actor, Clinic, LoginSession, ProtocolSignature
from followup.timing.calendar import Calendar, parse_calendar


@dataclass(frozen=True)
class Desk:
    """Everything from outside, given once. ``clock`` tells the instant; ``https`` hardens the cookie.

    ``ways_out``: the ways to send messages that are set up; paper, a call, is always there.
    """

    store: Store
    protocol: Protocol
    keyring: Keyring
    clock: Callable[[], datetime]
    passwords: Passwords = field(default_factory=Passwords)
    https: bool = False
    ways_out: frozenset[Channel] = frozenset({"paper"})


@dataclass(frozen=True)
class Visit:
    """One request: where it is answered, by which clinic's calendar and clock, and for whom."""

    desk: Desk
    clinic: Clinic
    now: datetime
    login: LoginSession | None
    signature: ProtocolSignature | None

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.clinic.zone)

    @property
    def today(self) -> date:
        """The clinic's own day."""
        return self.now.astimezone(self.zone).date()

    @cached_property
    def calendar(self) -> Calendar:
        return parse_calendar(json.loads(self.clinic.calendar), "calendar of the clinic")

    @property
    def roles(self) -> frozenset[str]:
        return self.login.staff.roles if self.login else frozenset({"anonymous"})

    @property
    def actor(self) -> Actor:
        """Who does it. Only for routes behind a log-in."""
        if self.login is None:
            raise RuntimeError("no one is logged in")
        return self.login.staff.actor

    @property
    def language(self) -> str:
        return self.clinic.staff_language

    @cached_property
    def texts(self) -> Texts:
        """The staff's language, made ready once for everything that this request says."""
        return Texts(self.language)
