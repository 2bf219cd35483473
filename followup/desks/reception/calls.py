"""The calls of a day, on the screen and on paper: whoever agreed to no messages is told by a person."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from followup.care.reach.calls import HEADINGS, calls_of
from followup.clinical.record import Eye
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.days import AskedDay
from followup.desks.page.pages import show
from followup.recall.reach.reasons import said
from followup.recall.reach.worklist import to_move
from followup.records.views import PatientView

router = APIRouter()


@router.get("/calls")
def call_list(request: Request, hand: AnyHand, on: AskedDay) -> Response:
    day = on or hand.today
    moves = moves_of(hand) if day == hand.today else []
    return show(request, "calls.html", day=day, parts=calls_of(hand, day), headings=HEADINGS, to_move=moves)


def moves_of(hand: DeskHand) -> list[tuple[PatientView, tuple[Eye, ...], str]]:
    """Whose visits lie on a day that does not offer what they are for: person, eyes, why; a line a visit."""
    words = hand.texts.translator
    with hand.store.read() as session:
        items = to_move(session, hand.now)
    return [
        (each.patient, each.eyes, said(each, words, hand.today.year))
        for item in items
        for each in item.to_move
    ]
