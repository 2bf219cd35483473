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
from followup.language.fonts import fallback
from followup.language.languages import Language
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
    """The patient's own mirror view; ``treated`` names the filled sides, ``eyes`` each in words."""

    treated: tuple[Eye, ...]
    eyes: dict[Eye, str]
    words: str


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


class Column(Piece):
    """A clock time of the table. ``said`` is the hour as people count it, where that is not by the 24-hour
    clock; ``native`` is the time in the language's own digits, where they are wanted beside the Latin.
    ``part`` picks the picture of the part of the day.
    """

    time: str
    said: str | None
    part: DayPart
    part_words: str
    native: str | None = None


class RowMark(Piece):
    """A bottle in a row of days. ``at`` says for each column whether it goes in then, one drop each time.

    ``amount`` is how much is taken by mouth each time, in words where it is not as in the row before, and
    ``figure`` how many; ``line`` its times in words, with that; ``count`` how often in a day.
    """

    bottle: NamedBottle
    at: tuple[bool, ...]
    amount: str | None
    figure: str | None
    line: str
    count: int


class DaysLine(Piece):
    """Days with the same drops. ``now``: today is one of them; ``new``: not so on the sheet before.

    ``told``: in words, not in the columns, for the rounds are too many.
    """

    kind: Literal["days"] = "days"
    dates: str
    now: bool
    new: bool
    told: bool
    marks: tuple[RowMark, ...]


class NewSupply(Piece):
    """What the patient gets at a visit: ``words`` say what it is, the bottles' marks which."""

    words: str
    bottles: tuple[NamedBottle, ...]


class VisitLine(Piece):
    """A visit on its day, with one reason, its place where that is another, and what is handed over.

    ``eyes`` are those that are looked at.
    """

    kind: Literal["visit"] = "visit"
    day: str
    eyes: tuple[Eye, ...]
    new: bool
    reason: str
    notes: tuple[str, ...]
    handed: tuple[NewSupply, ...]


class LeafTable(Piece):
    """The whole treatment in order of dates. ``new`` stands above where a row differs from the sheet before;
    ``rules`` say how the bottles of one round follow each other. ``none`` stands for an empty table.
    """

    heading: str
    columns: tuple[Column, ...]
    rows: tuple[DaysLine | VisitLine, ...]
    now: str
    today: str
    new: str | None
    rules: tuple[str, ...]
    none: str | None


class Container(Piece):
    """One container: opened and thrown away on these days; ``next`` says where the next one is from."""

    number: str
    opened: str
    discard: str
    next: str


class BottleBlock(Piece):
    """One medicine. ``use`` stands with its letter's meaning, ``notes`` with its containers."""

    bottle: NamedBottle
    purpose: str
    use: tuple[str, ...]
    notes: tuple[str, ...]
    shake: str | None
    lines: tuple[Container, ...]


class SheetVisit(Piece):
    """``day`` is the date in words, with its hour where one was given; ``reasons`` a few words each."""

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


class TickDay(Piece):
    """A day to tick. ``row`` is its row of days in the table, None where only a visit is on it.

    ``new``: other drops than the day before. ``native`` is the day of the month in the language's own
    digits, where they are wanted.
    """

    day: str
    row: int | None
    visit: str | None
    new: bool
    native: str | None = None


class CalendarBlock(Piece):
    """The days to tick, each with the boxes of its row. ``goes_on`` says under them what does not end."""

    heading: str
    how: str
    mark: str
    days: tuple[TickDay, ...]
    goes_on: tuple[str, ...]


class Foot(Piece):
    """``running`` names patient, eye and sheet. ``page`` still holds ``{page}`` and ``{pages}``, which the
    layout knows."""

    lines: tuple[str, ...]
    running: tuple[str, ...]
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


class TextSetting(Piece):
    """How a text of one language is set: its fonts, its direction, its size beside Latin."""

    language: str
    direction: Literal["ltr", "rtl"]
    fonts: tuple[str, ...]
    scale: float
    leading: float

    @staticmethod
    def of(language: Language) -> TextSetting:
        return TextSetting(
            language=language.tag,
            direction=language.direction,
            fonts=fallback(language),
            scale=language.scale,
            leading=language.leading,
        )


class Cover(TextSetting):
    """The staff's list in front of a batch, to tick off."""

    title: str
    total: str
    how: str
    heads: tuple[str, ...]
    lines: tuple[CoverLine, ...]
    problems_heading: str
    problems: tuple[CoverProblem, ...]


class LabelLine(Piece):
    """A day of a bottle: what is done on it, and which it is."""

    head: str
    words: str


class BottleLabel(Piece):
    """The label of one bottle. ``use``: until when it is used how often; ``days``: opened, thrown away.

    ``marks`` keep it from being taken for one of a real clinic or an approved protocol.
    """

    setting: TextSetting
    name: str
    code: str
    bottle: NamedBottle
    use: tuple[str, ...]
    days: tuple[LabelLine, ...]
    clinic: str
    marks: tuple[str, ...]


class SheetContent(TextSetting):
    """One sheet. ``watermark`` is set on a draft, and a draft has no ``code`` and no ``squares``.

    ``twin`` is the same sheet in the staff's language, a leaf of its own beside this one; ``copy_for``
    says on it whose it is.
    """

    size: Size
    paper: Paper
    pictures: bool
    twin: SheetContent | None
    copy_for: str | None
    title: str
    marks: tuple[str, ...]
    language_notice: str | None
    watermark: str | None
    first_line: str | None
    changes: tuple[str, ...]
    clinic: ClinicBlock
    who: Who
    dated: tuple[str, ...]
    face: Face
    code: ReturnCode | None
    alarm: Alarm
    next_visit_heading: str
    next_visit: SheetVisit | None
    bring: str
    table: LeafTable
    bottles: tuple[BottleBlock, ...]
    steroid_ends: tuple[str, ...]
    held: SheetSection | None
    cautions: SheetSection | None
    before_leaving: SheetSection | None
    stairs: tuple[StairBlock, ...]
    turn_over: str
    bottle_heads: tuple[str, ...]
    bottle_care: SheetSection | None
    how_to: SheetSection | None
    stopping: SheetSection | None
    home_heading: str
    home: tuple[SheetSection, ...]
    never: SheetSection
    ordinary: SheetSection | None
    allergies: SheetSection | None
    squares_heading: str
    squares: tuple[Square, ...]
    calendar: CalendarBlock | None
    teach_back: SheetSection
    foot: Foot
    printed_on: date
