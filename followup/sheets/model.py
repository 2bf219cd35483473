"""What stands on a sheet, already in the patient's language: the one source of paper and phone.

Values only, no layout: the Typst file and the Jinja page each decide where a thing stands.
Sentences are whole; direction marks around numbers and names are already in them.
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import BaseModel, ConfigDict

from followup.clinical.record import Eye
from followup.drawings.staircase import Staircase
from followup.sheets.day_parts import DayPart
from followup.sheets.options import Paper, Size

MedicineForm = Literal["drop", "ointment", "tablet"]


class Piece(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Telephone(Piece):
    """``label`` says when to ring, with whatever its language puts before a number."""

    label: str
    number: str


class ClinicBlock(Piece):
    """``address`` says where to come, ``nearest`` where to where the clinic itself is too far."""

    name: str
    address: str | None
    telephones: tuple[Telephone, ...]
    nearest: str | None


class Who(Piece):
    name: str
    age: str
    code: str


class Face(Piece):
    """The patient's own mirror view; ``treated`` names the filled sides."""

    treated: tuple[Eye, ...]
    words: str
    caption: str


class Sign(Piece):
    """A reason to come at once. ``id`` picks the picture."""

    id: str
    words: str


class Alarm(Piece):
    heading: str
    signs: tuple[Sign, ...]
    action: str


class ReturnCode(Piece):
    """The recall code in groups for typing, and what its QR code holds (ASCII)."""

    label: str
    grouped: str
    payload: str


class Square(Piece):
    """A code for the patient's phone, with what it holds (ASCII). ``words`` says it for the eye."""

    id: Literal["visit", "call"]
    label: str
    words: str
    payload: str


class StairMark(Piece):
    """A day in words under the drawing, at ``x`` as a share of its width."""

    x: float
    words: str


class StairBlock(Piece):
    """The drawing of one eye. ``labels`` names each stair by its key; ``words`` tells it unseen."""

    heading: str
    drawing: Staircase
    labels: dict[str, str]
    start: str
    end: str
    marks: tuple[StairMark, ...]
    note: str
    words: str


class NamedBottle(Piece):
    """A bottle as it is called everywhere on the sheet: letter, name and strength, eye.

    ``side`` is None by mouth; the marks of two eyes differ in shape and filling. ``due`` is what a mark in
    a table of times means, for who can't see it. ``cap`` is a colour of the formulary, where the clinic's
    stock has it.
    """

    letter: str
    name: str
    eye: str
    kind: MedicineForm
    due: str
    side: Eye | None = None
    cap: str | None = None


class Round(Piece):
    """One sitting: ``due`` says for each column of its table whether that bottle is due.

    ``spoken`` is the time as people say it, where that is not by the 24-hour clock; ``native`` is it in
    the language's own digits, where they are wanted beside the Latin.
    """

    time: str
    spoken: str | None
    due: tuple[bool, ...]
    part: DayPart
    part_words: str
    native: str | None = None


class PhaseTable(Piece):
    """Days with the same rounds: times down, bottles across in the order of use."""

    heading: str
    bottles: tuple[NamedBottle, ...]
    rounds: tuple[Round, ...]


class TaperLine(Piece):
    dates: str
    dose: str
    native: str | None = None


class BottleBlock(Piece):
    """One medicine by dates, with its bottles and what to know about it."""

    bottle: NamedBottle
    purpose: str
    lines: tuple[TaperLine, ...]
    notes: tuple[str, ...]


class SheetVisit(Piece):
    """``day`` is the date in words; ``reasons`` one sentence each."""

    day: str
    reasons: tuple[str, ...]
    notes: tuple[str, ...]
    native: str | None = None


class SheetSection(Piece):
    """``pictures`` names the drawing beside each line; empty where none is drawn."""

    heading: str
    lines: tuple[str, ...]
    numbered: bool = False
    pictures: tuple[str, ...] = ()


class CalendarRound(Piece):
    """A box to tick: the time, and the bottles due then."""

    time: str
    bottles: tuple[NamedBottle, ...]


class CalendarEvent(Piece):
    kind: Literal["visit", "change", "open", "discard"]
    words: str


class CalendarDay(Piece):
    """``native`` is the day of the month in the language's own digits, where they are wanted."""

    weekday: str
    day: str
    rounds: tuple[CalendarRound, ...]
    events: tuple[CalendarEvent, ...]
    native: str | None = None


class CalendarBlock(Piece):
    """``goes_on`` says under the days which medicines do not end with them."""

    heading: str
    how: str
    mark: str
    day_head: str
    rounds_head: str
    days: tuple[CalendarDay, ...]
    goes_on: tuple[str, ...]


class Foot(Piece):
    """``page`` still holds ``{page}`` and ``{pages}``, which the layout knows."""

    lines: tuple[str, ...]
    running: str
    page: str


class CoverLine(Piece):
    """One sheet of a batch. ``language`` is its language's name in itself."""

    name: str
    code: str
    eye: str
    language: str
    pages: str


class CoverProblem(Piece):
    """A sheet that could not be printed; ``reason`` is in ``language``, for whoever mends it."""

    name: str
    reason: str
    language: str
    direction: Literal["ltr", "rtl"]


class Cover(Piece):
    """The staff's list in front of a batch, to tick off."""

    language: str
    direction: Literal["ltr", "rtl"]
    fonts: tuple[str, ...]
    scale: float
    leading: float
    title: str
    total: str
    how: str
    heads: tuple[str, ...]
    lines: tuple[CoverLine, ...]
    problems_heading: str
    problems: tuple[CoverProblem, ...]


class SheetContent(Piece):
    """One sheet. ``watermark`` is set on a draft, and a draft has no ``code`` and no ``squares``.

    ``twin`` is the same sheet in the staff's language, printed line by line under this one.
    """

    size: Size
    paper: Paper
    pictures: bool
    twin: SheetContent | None
    language: str
    direction: Literal["ltr", "rtl"]
    fonts: tuple[str, ...]
    scale: float
    leading: float
    title: str
    marks: tuple[str, ...]
    language_notice: str | None
    watermark: str | None
    first_line: str | None
    changes: SheetSection | None
    clinic: ClinicBlock
    who: Who
    dated: tuple[str, ...]
    face: Face
    code: ReturnCode | None
    squares_heading: str
    squares: tuple[Square, ...]
    alarm: Alarm
    stairs: tuple[StairBlock, ...]
    steroid_ends: tuple[str, ...]
    rounds_heading: str
    rounds: tuple[PhaseTable, ...]
    rounds_rules: tuple[str, ...]
    later_heading: str
    no_rounds: str | None
    cautions: SheetSection | None
    allergies: SheetSection | None
    held: SheetSection | None
    before_leaving: SheetSection | None
    next_visit_heading: str
    next_visit: SheetVisit | None
    bring: str
    stopping: SheetSection | None
    bottles_heading: str
    bottles: tuple[BottleBlock, ...]
    visits_heading: str
    visits: tuple[SheetVisit, ...]
    sections: tuple[SheetSection, ...]
    calendar: CalendarBlock | None
    teach_back: SheetSection
    foot: Foot
    printed_on: date
