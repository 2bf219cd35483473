"""The clinic's rules for reviews as data: expected cells, red flags, pressure table, other findings."""

from __future__ import annotations

from itertools import pairwise
from string import Formatter
from typing import Annotated, Literal

from pydantic import (
    AfterValidator,
    Field,
    StrictBool,
    StrictFloat,
    StrictInt,
    model_validator,
)

from followup.clinical.protocol.formulary import Kind, Potency
from followup.clinical.protocol.parts import ProtocolPart, Reasoned, Sourced
from followup.clinical.protocol.references import FactRef, FindingRef, LookRef, MedicineRef, Names, TaperRef
from followup.clinical.protocol.rule import LONGEST_DAYS
from followup.clinical.record.base import MedicineRole
from followup.clinical.record.findings import MOST_MMHG
from followup.said import SaidLine, SaidText

CellGrade = Literal["0", "0.5+", "1+", "2+", "3+", "4+"]
GRADES: tuple[CellGrade, ...] = ("0", "0.5+", "1+", "2+", "3+", "4+")
"""SUN grades of cells in rising order (Jabs, Am J Ophthalmol 2005;140:509, secondary copy)."""

Count = Annotated[StrictInt, Field(ge=1, le=16)]
Days = Annotated[StrictInt, Field(ge=1, le=LONGEST_DAYS)]
FromDay = Annotated[StrictInt, Field(ge=0, le=LONGEST_DAYS)]
Mmhg = Annotated[StrictFloat, Field(ge=0, le=MOST_MMHG)]
Value = StrictBool | str
StepPair = tuple[int, int]


def _in_order(window: tuple[int, int, int]) -> tuple[int, int, int]:
    if list(window) != sorted(window):
        raise ValueError("earliest, target and latest day are not in that order")
    return window


def _falls(steps: tuple[StepPair, ...]) -> tuple[StepPair, ...]:
    if any(after[0] > before[0] for before, after in pairwise(steps)):
        raise ValueError("the count rises along the steps")
    return steps


Steps = Annotated[tuple[tuple[Count, Days], ...], AfterValidator(_falls)]
Window = Annotated[tuple[FromDay, FromDay, FromDay], AfterValidator(_in_order)]
Column = Literal["early", "quiet", "inflamed", "frail"]


class Response(Sourced):
    """At so many mmHg, so many more than before surgery, a rise is a response to steroid."""

    pressure: Mmhg
    rise: Mmhg


class SixWeekTest(Sourced):
    """So many drops a day of one steroid for so long part low, middle and high responders in mmHg."""

    medicine: MedicineRef
    count: Count
    days: Days
    bands: tuple[Mmhg, Mmhg]

    @model_validator(mode="after")
    def _bands_rise(self) -> SixWeekTest:
        if self.bands[0] >= self.bands[1]:
            raise ValueError("bands: the first limit must lie under the second")
        return self


class ReviewSettings(Reasoned):
    """The numbers of the rules for cells; days count from surgery, steps are (count a day, days)."""

    rise_from_day: FromDay
    rise_cells: CellGrade
    rise_steps: StrictInt = Field(ge=1, le=5)
    least_count: Count
    least_days: Days
    step_back_days: Days
    see_again: Window
    senior_cells: CellGrade
    senior_cells_from_day: FromDay
    senior_cells_any_day: CellGrade
    senior_call: SaidLine
    hourly_then: Steps = Field(min_length=1)
    rebound_cells: CellGrade
    rebound_days: Days
    rebound_uveitic_from_day: FromDay
    rebound_steps: Steps = Field(min_length=1)
    rescue_cells: CellGrade
    later_steps_uveitic: TaperRef
    later_steps_other: TaperRef
    persistent_cells: CellGrade
    persistent_after_uveitic: Days
    persistent_after_event: Days
    persistent_after_quiet: Days
    shortest_quiet: Days
    shortest_event: Days
    shortest_uveitic: Days
    shorter_step_days: Days
    early_until_day: FromDay
    inflamed_cells: CellGrade
    response_from_day: FromDay
    response: Response
    six_weeks: SixWeekTest
    responder_potency: Potency
    pressure_drop_days: Days
    untreated_from: Mmhg
    pressure_drop_last_look: tuple[FromDay, FromDay, FromDay]

    @model_validator(mode="after")
    def _last_look_comes_nearer(self) -> ReviewSettings:
        if list(self.pressure_drop_last_look) != sorted(self.pressure_drop_last_look, reverse=True):
            raise ValueError("pressure_drop_last_look: days before the end, the most first")
        return self


class Expected(ProtocolPart):
    eye: Literal["quiet", "uveitic"]
    from_day: FromDay
    cells: CellGrade

    @property
    def row(self) -> str:
        return f"{self.eye} from day {self.from_day}"


def check_places(text: str, known: set[str]) -> None:
    """Raise ValueError where ``text`` has a place for a value that its row does not have."""
    try:
        named = {name for _, name, _, _ in Formatter().parse(text) if name is not None}
    except ValueError:
        raise ValueError("a brace in the text is not closed") from None
    for name in sorted(named - known):
        raise ValueError(f"the text names {{{name}}}, and this row has no such value")


class Timed(ProtocolPart):
    """Only where the facts of ``when`` hold, from ``from_day`` to ``to_day`` after surgery, both included."""

    when: tuple[FactRef, ...] = ()
    from_day: FromDay = 0
    to_day: FromDay | None = None

    @model_validator(mode="after")
    def _ends_after_it_begins(self) -> Timed:
        if self.to_day is not None and self.to_day < self.from_day:
            raise ValueError("to_day lies before from_day")
        return self


class ReviewRow(Reasoned):
    id: str = Field(pattern=r"^[a-z][a-z0-9-]*$")
    text: SaidLine


class Flag(ReviewRow, Timed):
    """A finding that asks for a senior the same day and stops every proposal.

    ``pause``: what is not given before the eye has been seen; everything else goes on as ordered.
    ``call``: whom to call, where it is not the senior surgeon of the settings.
    """

    finding: FindingRef
    is_: tuple[Value, ...] = Field(alias="is", min_length=1)
    pressure_at_least: Mmhg | None = None
    cells_at_least: CellGrade | None = None
    pause: tuple[MedicineRole, ...] = ()
    call: SaidText = ""


class Cell(ProtocolPart):
    """One field of the pressure table. ``without_steroid``: its words where no steroid is left to change.

    ``{again}`` in the words stands for the days of ``look``, and for ``hours`` where the same day will do.
    """

    text: SaidText
    without_steroid: SaidText = ""
    look: Window
    hours: tuple[StrictInt, StrictInt] | None = None
    treat: StrictBool = False
    today: StrictBool = False
    senior: StrictBool = False
    steroid: Literal["unchanged", "weaker-or-shorter", "stop-or-weaken"] = "unchanged"

    @model_validator(mode="after")
    def _says_no_other_value(self) -> Cell:
        for text in (self.text, self.without_steroid):
            check_places(text, {"again"})
        return self


class PressureRow(Reasoned):
    """A range of pressure in mmHg and what it means in each column."""

    id: str
    at_least: Mmhg | None = None
    over: Mmhg | None = None
    under: Mmhg | None = None
    up_to: Mmhg | None = None
    only_if: tuple[Literal["chamber shallow", "tearing"], ...] = ()
    early: Cell
    quiet: Cell
    inflamed: Cell
    frail: Cell

    @model_validator(mode="after")
    def _has_a_limit(self) -> PressureRow:
        if all(x is None for x in (self.at_least, self.over, self.under, self.up_to)):
            raise ValueError("the row has no limit in mmHg")
        return self

    def holds(self, pressure: float) -> bool:
        return (
            (self.at_least is None or pressure >= self.at_least)
            and (self.over is None or pressure > self.over)
            and (self.under is None or pressure < self.under)
            and (self.up_to is None or pressure <= self.up_to)
        )

    def cell(self, column: Column) -> Cell:
        found: Cell = getattr(self, column)
        return found


class OfferRule(Sourced):
    """The medicine that stands for a class of pressure medicines, and how many times a day it is given.

    ``over``: offered only over so many mmHg, or where nothing else is left (tablets).
    """

    kind: Kind
    medicine: MedicineRef
    count: StrictInt = Field(ge=1, le=6)
    over: Mmhg | None = None


class Give(ProtocolPart):
    role: MedicineRole
    medicine: MedicineRef | None = None
    count: Count
    days: StrictInt = Field(ge=1, le=120)


class OtherLook(ProtocolPart):
    need: LookRef
    days: Window


class Careful(Reasoned):
    """An eye in which the NSAID comes first and the potent steroid is the second choice.

    ``text`` is said after the row's own. It is such an eye at so many mmHg, with a pressure that nobody
    measured, or where one of the facts holds.
    """

    pressure_at_least: Mmhg
    when_any: tuple[FactRef, ...] = Field(min_length=1)
    text: SaidLine
    look: tuple[OtherLook, ...] = Field(min_length=1)


class OtherFinding(ReviewRow):
    """Another finding and what is then proposed.

    ``since_days``: only once the finding has been seen at every look for so long. ``no_raise``: why no
    steroid is raised while it lasts. ``nsaid_text`` are the words where the NSAID is given and the steroid
    is not, ``steroid_text`` the other way round, ``bare_text`` where neither can be; ``careful``: the eyes
    in which the steroid is second.
    """

    finding: FindingRef
    is_: tuple[Value, ...] = Field(alias="is", min_length=1)
    when: tuple[FactRef, ...] = ()
    from_day: FromDay = 0
    since_days: FromDay = 0
    pressure_at_least: Mmhg | None = None
    stop: tuple[MedicineRole, ...] = ()
    no_raise: SaidText = ""
    give: Give | None = None
    steroid: Steps = ()
    nsaid_days: Days | None = None
    nsaid_text: SaidText = ""
    steroid_text: SaidText = ""
    bare_text: SaidText = ""
    careful: Careful | None = None
    look: tuple[OtherLook, ...] = ()
    today: StrictBool = False

    @model_validator(mode="after")
    def _says_what_it_has(self) -> OtherFinding:
        has = {"looks": self.look, "give": self.give, "since_days": self.since_days}
        known = {name for name, value in has.items() if value}
        known |= {"nsaid"} if self.nsaid_days else set()
        check_places(self.nsaid_text, known)
        check_places(self.bare_text, known)
        known |= {"steroid"} if self.steroid else set()
        check_places(self.text, known)
        if self.careful:
            check_places(self.careful.text, {*known, "careful_looks"})
        check_places(self.steroid_text, known - {"nsaid"})
        apart = (self.nsaid_text, self.steroid_text, self.bare_text)
        if self.steroid and self.nsaid_days and not all(apart):
            raise ValueError("steroid and nsaid_days need nsaid_text, steroid_text and bare_text as well")
        if self.careful and not (self.steroid and self.nsaid_days):
            raise ValueError("careful needs both steroid and nsaid_days")
        return self


class ToSee(Timed):
    """A finding that a look between these days must hold; missing (or ``or_is``), it is asked for.

    ``given``: only while the eye is given a medicine of this role.
    """

    finding: FindingRef
    or_is: tuple[Value, ...] = ()
    given: MedicineRole | None = None
    text: SaidLine


class BeforeSteroid(ToSee):
    """A finding that is asked for before a proposal for the steroid is shown.

    ``raises``: where a proposal would raise the steroid; ``cells_at_least``: and at so many cells;
    ``after_quiet``: only in an eye that a look since surgery saw without cells.
    """

    raises: StrictBool = False
    cells_at_least: CellGrade | None = None
    after_quiet: StrictBool = False

    @model_validator(mode="after")
    def _has_a_reason(self) -> BeforeSteroid:
        if not self.raises and self.cells_at_least is None:
            raise ValueError("give raises or cells_at_least: when it is asked")
        return self


class InflamedEyes(Reasoned):
    """The surgeon's list of inflamed eyes: those of the last ``days``, the worst first by these findings in
    this order. Cells and flare count from these grades on; cells are listed by what is expected."""

    days: Days
    worst: tuple[Literal["hypopyon", "fibrin", "cells", "flare"], ...] = Field(min_length=1)
    cells_from: CellGrade
    flare_from: Literal["1+", "2+", "3+", "4+"]


class ReviewRules(ProtocolPart):
    """All of ``review.toml``."""

    settings: ReviewSettings
    inflamed: InflamedEyes
    expected: Annotated[tuple[Expected, ...], Names("row")] = Field(min_length=2)
    to_see: tuple[ToSee, ...] = Field(min_length=1)
    before_steroid: Annotated[tuple[BeforeSteroid, ...], Names("finding")] = ()
    flag: Annotated[tuple[Flag, ...], Names("id")] = Field(min_length=1)
    pressure: Annotated[tuple[PressureRow, ...], Names("id")] = Field(min_length=1)
    offer: Annotated[tuple[OfferRule, ...], Names("medicine")] = ()
    other: Annotated[tuple[OtherFinding, ...], Names("id")] = ()

    def expected_cells(self, uveitic: bool, day: int) -> CellGrade:
        """The most cells that are expected on ``day`` after surgery; a row holds until the next."""
        eye = "uveitic" if uveitic else "quiet"
        rows = sorted((r for r in self.expected if r.eye == eye), key=lambda r: r.from_day)
        reached = [row for row in rows if row.from_day <= day] or rows[:1]
        return reached[-1].cells
