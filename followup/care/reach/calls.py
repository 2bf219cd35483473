"""The calls of a day: whom to call for what, and what to say in their language."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import get_args

from followup.care.hand import Hand
from followup.language.catalogues import N_
from followup.language.languages import known
from followup.recall.messages.calls import calls
from followup.recall.messages.wanted import WantedMessage
from followup.recall.messages.wording import MessageKind

HEADINGS: dict[MessageKind, str] = {
    "missed": N_("They missed a visit"),
    "reminder": N_("Their visit is near"),
    "step change": N_("Their drops change tomorrow"),
}


@dataclass(frozen=True)
class Call:
    """One call. ``direction`` is that of the language it is made in."""

    wanted: WantedMessage
    direction: str


def calls_of(hand: Hand, day: date) -> dict[MessageKind, list[Call]]:
    """The calls of ``day`` by their reason, each list by patient code; empty ones are left out."""
    with hand.store.read() as session:
        found = {kind: calls(session, kind, day, hand.protocol) for kind in get_args(MessageKind)}
    ordered = {kind: found[kind] for kind in HEADINGS if found.get(kind)}
    return {kind: [Call(one, _direction(one.language)) for one in lines] for kind, lines in ordered.items()}


def _direction(tag: str) -> str:
    spoken = known(tag)
    return spoken.direction if spoken else "ltr"
