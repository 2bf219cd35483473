"""The clinic's rules for reviews as data: expected cells, red flags, pressure table, other findings."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError, model_validator

from followup.clinical.careplan import Role
from followup.clinical.facts import Mark
from followup.clinical.formulary import Kind
from followup.clinical.record.base import MedicineId
from followup.clinical.rule import Part
from followup.clinical.toml_lines import load_toml, toml_problem

Cells = Literal["0", "0.5+", "1+", "2+", "3+", "4+"]
GRADES: tuple[Cells, ...] = ("0", "0.5+", "1+", "2+", "3+", "4+")
"""SUN grades of cells in rising order (Jabs, Am J Ophthalmol 2005;140:509, secondary copy)."""

StepPair = tuple[int, int]
Window = tuple[int, int, int]
Column = Literal["early", "quiet", "inflamed", "frail"]


class Settings(Part):
    """The numbers of the rules for cells; days count from surgery, steps are (count a day, days)."""

    rise_from_day: int
    rise_cells: Cells
    least_count: int = Field(ge=1, le=16)
    least_days: int = Field(ge=1)
    step_back_days: int = Field(ge=1)
    see_again: Window
    senior_cells: Cells
    senior_cells_from_day: int
    hourly_then: tuple[StepPair, ...]
    rebound_cells: Cells
    rebound_days: int
    rebound_steps: tuple[StepPair, ...]
    rescue_cells: Cells
    later_steps_uveitic: str
    later_steps_other: str
    persistent_after_uveitic: int
    persistent_after_event: int
    persistent_after_quiet: int
    shortest_quiet: int
    shortest_event: int
    shortest_uveitic: int
    shorter_step_days: int = Field(ge=1)
    response_from_day: int
    response_pressure: float
    response_rise: float
    test_medicine: MedicineId
    test_count: int
    test_days: int
    test_bands: tuple[float, float]
    test_source: str
    test_mark: Mark
    pressure_drop_days: int = Field(ge=1)
    because: str
    source: str
    mark: Mark


class Expected(Part):
    eye: Literal["quiet", "uveitic"]
    from_day: int = Field(ge=0)
    cells: Cells


class Sourced(Part):
    id: str = Field(pattern=r"^[a-z][a-z0-9-]*$")
    text: str
    because: str
    source: str
    mark: Mark


class Flag(Sourced):
    """A finding that asks for a senior the same day and stops every proposal."""

    finding: str
    is_: tuple[str | bool, ...] = Field(alias="is")
    when: tuple[str, ...] = ()
    from_day: int = 0
    to_day: int | None = None
    pressure_at_least: float | None = None


class Cell(Part):
    """One field of the pressure table. ``without_steroid``: its words where no steroid is left to change."""

    text: str
    without_steroid: str = ""
    look: Window
    treat: bool = False
    today: bool = False
    senior: bool = False
    steroid: Literal["unchanged", "weaker-or-shorter", "stop-or-weaken"] = "unchanged"


class PressureRow(Part):
    """A range of pressure in mmHg and what it means in each column."""

    id: str
    at_least: float | None = None
    over: float | None = None
    under: float | None = None
    up_to: float | None = None
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


class OfferRule(Part):
    """The medicine that stands for a class of pressure drops, and its usual count a day."""

    kind: Kind
    medicine: MedicineId
    count: int = Field(ge=1, le=6)


class Give(Part):
    role: Role
    medicine: MedicineId | None = None
    count: int = Field(ge=1, le=16)
    days: int = Field(ge=1, le=120)


class OtherLook(Part):
    need: str
    days: Window


class Other(Sourced):
    """Another finding and what is then proposed.

    ``since_days``: only once the finding has been seen at every look for so long.
    """

    finding: str
    is_: tuple[str | bool, ...] = Field(alias="is")
    when: tuple[str, ...] = ()
    from_day: int = 0
    since_days: int = 0
    pressure_at_least: float | None = None
    stop: tuple[Role, ...] = ()
    no_raise: bool = False
    give: Give | None = None
    steroid: tuple[StepPair, ...] = ()
    nsaid_days: int | None = None
    look: tuple[OtherLook, ...] = ()
    today: bool = False


class ToSee(Part):
    """A finding that a look between these days must hold; missing (or ``or_is``), it is asked for."""

    finding: str
    from_day: int = Field(0, ge=0)
    to_day: int | None = None
    when: tuple[str, ...] = ()
    or_is: tuple[str | bool, ...] = ()
    text: str


class ReviewRules(Part):
    """All of ``review.toml``."""

    settings: Settings
    expected: tuple[Expected, ...] = Field(min_length=2)
    to_see: tuple[ToSee, ...] = Field(min_length=1)
    flag: tuple[Flag, ...] = Field(min_length=1)
    pressure: tuple[PressureRow, ...] = Field(min_length=1)
    offer: tuple[OfferRule, ...] = ()
    other: tuple[Other, ...] = ()

    def expected_cells(self, uveitic: bool, day: int) -> Cells:
        """The most cells that are expected on ``day`` after surgery; a row holds until the next."""
        eye = "uveitic" if uveitic else "quiet"
        rows = sorted((r for r in self.expected if r.eye == eye), key=lambda r: r.from_day)
        reached = [row for row in rows if row.from_day <= day] or rows[:1]
        return reached[-1].cells


def load_review(path: Path) -> ReviewRules:
    """The review rules of a protocol, or a FollowupError with file and line."""
    data, locate = load_toml(path)
    try:
        return ReviewRules.model_validate(data)
    except ValidationError as exc:
        raise toml_problem(exc, path, locate, code="protocol.review") from None
