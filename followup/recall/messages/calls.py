"""The call list: what a person reads out to whoever gets no messages, in the patient's language."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from followup.clinical.protocol.protocol import Protocol
from followup.recall.messages.wanted import WantedMessage, wanted
from followup.recall.messages.wording import MessageKind
from followup.records.store.store import Session


@dataclass(frozen=True)
class CallLine:
    """Whom to call, in which language, and what to say."""

    code: str
    name: str
    language: str
    telephones: tuple[str, ...]
    say: str


def call_lines(session: Session, kind: MessageKind, day: date, protocol: Protocol) -> tuple[CallLine, ...]:
    """The calls of this kind that ``day`` asks for, by patient code."""
    return tuple(
        CallLine(
            one.patient.code,
            one.patient.name,
            one.language,
            tuple(f"{phone.whose}: {phone.number}" for phone in one.patient.telephones),
            one.text,
        )
        for one in calls(session, kind, day, protocol)
    )


def calls(session: Session, kind: MessageKind, day: date, protocol: Protocol) -> tuple[WantedMessage, ...]:
    """The same with the patient and what was agreed to, by patient code."""
    found = [one for one in wanted(session, kind, day, protocol) if one.channel == "paper"]
    return tuple(sorted(found, key=lambda one: one.patient.code))
