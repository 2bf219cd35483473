"""The staircase of each eye on the sheet, with its days in words."""

from __future__ import annotations

from datetime import timedelta

from followup.clinical.record import Eye
from followup.drawings.staircase import Staircase, build_staircase
from followup.language.dates import short_date
from followup.sheets.inputs import SheetInputs
from followup.sheets.model import StairBlock, StairMark


def stair_blocks(inputs: SheetInputs) -> tuple[StairBlock, ...]:
    """One staircase for each eye with drops still to come."""
    return tuple(block for eye in inputs.eyes if (block := _stair_block(inputs, eye)))


def _stair_block(inputs: SheetInputs, eye: Eye) -> StairBlock | None:
    _ = inputs.words.gettext
    # What still waits is not drawn: numbers over dates would read as drops to put in.
    drawn = tuple(c for c in inputs.plan.courses if c.eye == eye and c.state == "active")
    if all(inputs.goes_on(c) for c in inputs.courses("active") if c.eye == eye):
        return None
    mine = inputs.plan.model_copy(update={"courses": drawn})
    drawing = build_staircase(mine, mirrored=inputs.words.language.rtl, goes_on=inputs.goes_on)
    if drawing is None or not drawing.stairs:
        return None
    names = {c.key: inputs.label(inputs.medicine(c)) for c in mine.courses}
    return StairBlock(
        heading=inputs.eye(eye),
        drawing=drawing,
        labels=names,
        marks=_marks(inputs, drawing),
        note=_("The numbers are drops a day. A circle is a visit."),
        words=_("The drops of this eye go down step by step, like stairs."),
    )


def _marks(inputs: SheetInputs, drawing: Staircase) -> tuple[StairMark, ...]:
    """The day of every step of the steroid, or of the first bottle where there is none."""
    ending = [stair for stair in drawing.stairs if not stair.goes_on]
    chosen = [stair for stair in ending if stair.filled] or ending[:1]
    marks = {tread.start: tread.x for stair in chosen for tread in stair.treads}
    return tuple(
        StairMark(x=x, words=short_date(drawing.start + timedelta(days=start), inputs.words.language))
        for start, x in sorted(marks.items())
    )
