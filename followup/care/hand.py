"""What every act of the clinic stands on: store, protocol, keys, the clinic's day, and who acts."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from followup.care.passwords import Passwords, usual_passwords
from followup.clinical.protocol.protocol import Protocol
from followup.language.languages import language
from followup.recall.codes.codes import Keyring
from followup.records.channels import Channel
from followup.records.house.clinics import get_clinic
from followup.records.plans.protocols import protocol_signature
from followup.records.store.store import Store
from followup.records.views import Actor, Clinic
from followup.timing.calendar import Calendar, parse_calendar


@dataclass(frozen=True, kw_only=True)
class Hand:
    """Whoever acts, with what the act needs. ``person``: None where nobody is logged in.

    ``approved``: a surgeon's signature holds for this very protocol. ``store`` sees the person's own
    site, where the person has one. ``ways_out``: the ways to send messages that are set up; paper, a call,
    is always there. ``origin``: the network address that it comes from; ``session_id``: of the log-in.
    """

    store: Store
    protocol: Protocol
    keyring: Keyring
    clinic: Clinic
    now: datetime
    person: Actor | None = None
    approved: bool = False
    passwords: Passwords = field(default_factory=usual_passwords)
    ways_out: frozenset[Channel] = frozenset({"paper"})
    origin: str = ""
    session_id: str = ""

    @property
    def actor(self) -> Actor:
        """Who does it; nobody may act without a name."""
        if self.person is None:
            raise RuntimeError("no one is logged in")
        return self.person

    @property
    def by(self) -> str:
        """The name under which it is written down."""
        return self.actor.name or self.actor.login

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
    def language(self) -> str:
        """The tag of the staff's language."""
        return self.clinic.staff_language

    @property
    def mirrored(self) -> bool:
        """Whether the staff read, and time in their drawings runs, from right to left."""
        return language(self.language).rtl


def hand_for(
    store: Store, protocol: Protocol, keyring: Keyring, *, now: datetime, person: Actor | None = None
) -> Hand:
    """A hand of the whole clinic, for commands and jobs."""
    with store.read() as session:
        clinic = get_clinic(session)
        approved = protocol_signature(session, protocol.hash) is not None
    return Hand(
        store=store,
        protocol=protocol,
        keyring=keyring,
        clinic=clinic,
        now=now,
        person=person,
        approved=approved,
    )
