"""A sheet on its way to the patient: issued under a code, taught, handed over."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import Field

from followup.care.act import Act, Line, Number, Truth
from followup.care.hand import Hand
from followup.care.plans.plan_view import load
from followup.care.sheets.content import content_of, found_sheet, issue_one
from followup.records.plans.desk_notes import note_teach_back
from followup.records.plans.sheets import find_sheet, hand_over_sheet, sheets_of
from followup.records.store.store import Session
from followup.records.views import SheetView
from followup.sheets.options import Paper, SheetChoices, Size

Tag = Annotated[str, Field(max_length=35)]


class Printing(Act):
    """How a sheet is to look; what is left out, or null, as it was chosen for the patient's last sheet, and
    before that as the patient and the clinic need it.

    That is pictures for someone who does not read, the second language that the record asks for (an empty
    ``twin``: none), days to tick where the clinic wants them on every sheet.

    ``printed``: how many sheets of this plan the sender has seen; where there are more by now, the newest of
    them is the answer and nothing is printed; null: one that is not handed over yet is. Another sheet of
    the same plan takes a ``reason``.
    """

    printed: Number | None
    reason: Line = ""
    language: Tag | None = None
    size: Size | None = None
    paper: Paper | None = None
    twin: Tag | None = None
    pictures: Truth | None = None
    calendar: Truth | None = None

    @property
    def chosen(self) -> SheetChoices:
        """How it is to look, as far as that was said."""
        return SheetChoices(self.size, self.paper, self.twin, self.pictures, self.calendar)


class Taught(Act):
    """The lines of ``teach`` that the patient said or showed back, counted from 0."""

    shown: Annotated[list[Number], Field(max_length=60)]


class Handed(Act):
    """To whom; on paper, or read out by telephone."""

    to: Annotated[Line, Field(min_length=1, max_length=120)]
    how: Literal["paper", "telephone"] = "paper"


def print_once(hand: Hand, plan_id: int, act: Printing) -> SheetView:
    """Issue a sheet of the plan in force under a new code, or give back the one that is newer than seen."""
    patient = load(hand, plan_id).version.patient_id

    def there(session: Session) -> SheetView | None:
        known = [s for s in sheets_of(session, patient) if s.plan_id == plan_id]
        return known[-1] if known and _is_there(act, known) else None

    return issue_one(hand, plan_id, act.chosen, language=act.language or None, reason=act.reason, there=there)


def _is_there(act: Printing, known: Sequence[SheetView]) -> bool:
    """Whether the newest sheet is what the sender asks for."""
    if act.printed is None:
        return known[-1].handed_over_at is None
    return act.printed < len(known)


def teach(hand: Hand, sheet_id: str, act: Taught) -> None:
    """Store which lines of the sheet's teaching the patient showed or said back."""
    found = found_sheet(hand, sheet_id).sheet
    with hand.store.read() as session:
        asked = len(content_of(session, hand, found).teach_back.lines)
    with hand.store.write(hand.actor, hand.now) as unit:
        note_teach_back(unit, sheet_id=sheet_id, shown=act.shown, asked=asked)


def hand_over(hand: Hand, sheet_id: str, act: Handed) -> None:
    """The sheet is in somebody's hands; the same again changes nothing."""
    with hand.store.write(hand.actor, hand.now) as unit:
        known = find_sheet(unit.session, sheet_id)
        if known and known.sheet.handed_over_at and known.sheet.handed_to == act.to:
            return
        hand_over_sheet(unit, sheet_id=sheet_id, to=act.to, how=act.how)
