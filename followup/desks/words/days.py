"""A box for a day: what stands in it, and what the page answers beside it."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from followup.desks.words.texts import Texts
from followup.errors import ErrorLine, FollowupError
from followup.language.typed_days import Lean, day_in_box, typed_day


class DayBox(NamedTuple):
    """``text``: what stands in the box; ``echo``: that day in words; ``wrong``: why it is no day."""

    text: str
    echo: str = ""
    wrong: ErrorLine | None = None


def day_box(value: date | str | None, today: date, texts: Texts, lean: Lean) -> DayBox:
    """The box of a stored day, or of what somebody typed, which stays as it was typed where it is none."""
    if not value:
        return DayBox("")
    if isinstance(value, date):
        return DayBox(day_in_box(value), texts.day(value))
    try:
        day = typed_day(value, today, texts.translator.language, lean)
    except FollowupError as exc:
        return DayBox(value, wrong=exc.line)
    return DayBox(day_in_box(day), texts.day(day))
