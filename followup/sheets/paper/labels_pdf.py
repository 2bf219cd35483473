"""Labels on paper: an A4 sheet of 24, 70 by 37 millimetres, or one label alone."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from followup.errors import FollowupError
from followup.language.direction import without_marks
from followup.language.fonts import must_be_covered
from followup.said import say
from followup.sheets.model import BottleLabel
from followup.sheets.paper.typesetter import Typesetter, typesetter

A_SHEET = 24


def labels_pdf(
    labels: Sequence[BottleLabel],
    printed_on: date,
    *,
    start: int | None = 1,
    setter: Typesetter = typesetter,
) -> bytes:
    """The labels as PDF. ``start``: the first place of the sheet that is still there, counted from 1 along
    its rows; None prints each label alone, on a page of its size.

    Raises FollowupError ``label.none``, ``label.start``, ``language.glyph`` for a character without a font,
    ``sheet.overflow`` for a word or a text that no label has room for; never is anything cut.
    """
    if not labels:
        raise FollowupError("label.none", say("there is nothing to label"), fix=say("look at the list again"))
    if start is not None and not 1 <= start <= A_SHEET:
        raise FollowupError(
            "label.start",
            say("a sheet has the places 1 to {last}", last=A_SHEET),
            fix=say("choose one of them"),
        )
    for one in labels:
        _must_be_covered(one)
    job = {
        "labels": [one.model_dump(mode="json") for one in labels],
        "start": start,
        "printed_on": printed_on.isoformat(),
    }
    return setter.typeset(job)


def _must_be_covered(one: BottleLabel) -> None:
    texts = (one.name, one.code, one.bottle.name, one.bottle.eye, one.clinic, *one.use, *one.marks)
    days = (text for line in one.days for text in (line.head, line.words))
    for text in (*texts, *days):
        must_be_covered(text, without_marks(one.code))
