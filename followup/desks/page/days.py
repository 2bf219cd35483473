"""Days that people type, as forms and addresses send them: see ``day_box`` of form.html."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Depends, Query
from fastapi.responses import PlainTextResponse

from followup.desks.door.hand import AnyHand
from followup.desks.words.days import day_box
from followup.language.typed_days import Lean, typed_day

router = APIRouter()
Typed = Annotated[str, Query(max_length=200)]


@router.get("/day")
def told_day(hand: AnyHand, text: Typed = "", lean: Lean = "near") -> PlainTextResponse:
    """The day that was typed, in words, or (422) why it is none: what the page says beside the box."""
    box = day_box(text, hand.today, hand.texts, lean)
    said = hand.texts.told(box.wrong) if box.wrong else box.echo
    return PlainTextResponse(said, 422 if box.wrong else 200)


def _asked_day(hand: AnyHand, on: Typed = "") -> date | None:
    language = hand.texts.translator.language
    return typed_day(on, hand.today, language) if on.strip() else None


def _asked_span(hand: AnyHand, begin: Typed = "", end: Typed = "") -> tuple[date | None, date | None]:
    return _asked_day(hand, begin), _asked_day(hand, end)


AskedSpan = Annotated[tuple[date | None, date | None], Depends(_asked_span)]
"""The days after ``?begin=`` and ``?end=``, as :data:`AskedDay`."""
AskedDay = Annotated[date | None, Depends(_asked_day)]
"""The day after ``?on=``, typed in a box or by a link; None without one. Error: ``day.typed``."""
