"""The calls of a day, on the screen and on paper: whoever agreed to no messages is told by a person."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import get_args

from fastapi import APIRouter, Request, Response

from followup.clinical.record import Eye
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.pages import show
from followup.language.catalogues import N_
from followup.language.languages import known
from followup.recall.messages.calls import calls
from followup.recall.messages.wanted import WantedMessage
from followup.recall.messages.wording import MessageKind
from followup.recall.reach.reasons import said
from followup.recall.reach.worklist import worklist
from followup.records.views import PatientView

router = APIRouter()
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


@router.get("/calls")
def call_list(request: Request, hand: AnyHand, on: date | None = None) -> Response:
    day = on or hand.today
    to_move = moves_of(hand) if day == hand.today else []
    return show(request, "calls.html", day=day, parts=calls_of(hand, day), headings=HEADINGS, to_move=to_move)


def moves_of(hand: DeskHand) -> list[tuple[PatientView, tuple[Eye, ...], str]]:
    """Whose visits lie on a day that does not offer what they are for: person, eyes, why; a line a visit."""
    words = hand.texts.translator
    with hand.store.read() as session:
        items = worklist(session, hand.now)
    return [(each.patient, each.eyes, said(each, words)) for item in items for each in item.to_move]


def calls_of(hand: DeskHand, day: date) -> dict[MessageKind, list[Call]]:
    """The calls of ``day`` by their reason, each list by patient code; empty ones are left out."""
    with hand.store.read() as session:
        found = {kind: calls(session, kind, day, hand.protocol) for kind in get_args(MessageKind)}
    ordered = {kind: found[kind] for kind in HEADINGS if found.get(kind)}
    return {kind: [Call(one, _direction(one.language)) for one in lines] for kind, lines in ordered.items()}


def _direction(tag: str) -> str:
    spoken = known(tag)
    return spoken.direction if spoken else "ltr"
