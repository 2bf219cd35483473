"""The rules of everyday life after surgery, as data: how many days each holds, for which cut."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError, model_validator

from followup.clinical.record import Operation
from followup.clinical.toml_lines import load_toml, toml_problem

AFTERCARE = Path(__file__).resolve().parent / "data" / "aftercare.toml"

_LARGE_TECHNIQUES = frozenset({"manual small-incision", "extracapsular", "intracapsular"})
_Days = Annotated[int, Field(ge=1, le=365)]


class _Sourced(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    source: Annotated[str, StringConstraints(min_length=1, max_length=300)]
    mark: Literal["P", "S", "M", "C"]


class DropHandling(_Sourced):
    """Minutes and hours of putting in a drop."""

    press_minutes: int = Field(ge=1, le=10)
    press_minutes_pregnant: int = Field(ge=1, le=10)
    ointment_wait_minutes: int = Field(ge=1, le=60)
    missed_within_hours: int = Field(ge=1, le=12)


class LargeCut(_Sourced):
    """From this length on (mm) a cut counts as large."""

    cut_mm: float = Field(ge=2, le=15)


class Advice(_Sourced):
    """One rule. ``small``/``large``: its last day, counted from the operation (day 0), or none."""

    id: Annotated[str, StringConstraints(pattern=r"^[a-z][a-z-]{1,30}$")]
    place: Literal["paper", "teach-back"]
    small: _Days | None = None
    large: _Days | None = None
    only: Literal["gas", "bandage lens"] | None = None

    @model_validator(mode="after")
    def _days_go_together(self) -> Advice:
        if (self.small is None) != (self.large is None):
            raise ValueError("give both small and large, or neither")
        if self.small is not None and self.large is not None and self.large < self.small:
            raise ValueError("large can't be shorter than small; correct one")
        return self

    def concerns(self, operation: Operation) -> bool:
        if self.only == "gas":
            return operation.air_or_gas == "gas"
        return self.only is None or operation.bandage_lens is True


class Aftercare(BaseModel):
    """All of a clinic's rules, in the order in which the sheet gives them."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    drops: DropHandling
    large: LargeCut
    advice: tuple[Advice, ...]

    @model_validator(mode="after")
    def _ids_differ(self) -> Aftercare:
        ids = [a.id for a in self.advice]
        double = next((i for i in ids if ids.count(i) > 1), None)
        if double:
            raise ValueError(f"the advice {double} stands twice; keep one")
        return self

    def is_large(self, operation: Operation) -> bool:
        """Whether the longer days hold: a large, stitched, leaking or shallow eye, or one not described."""
        cut = operation.cut_mm
        technique = operation.procedure in _LARGE_TECHNIQUES and cut is None
        return (
            (cut is not None and cut >= self.large.cut_mm)
            or technique
            or bool(operation.stitches)
            or operation.watertight is False
            or operation.chamber != "normal"
        )

    def last_day(self, advice: Advice, operation: Operation) -> date | None:
        """The last day on which ``advice`` holds, or None where it has no end."""
        days = advice.large if self.is_large(operation) else advice.small
        return None if days is None else operation.date + timedelta(days=days)


def load_aftercare(path: Path = AFTERCARE) -> Aftercare:
    """The aftercare rules of a file, or a FollowupError that names file and line."""
    data, locate = load_toml(path)
    try:
        return Aftercare.model_validate(data)
    except ValidationError as exc:
        raise toml_problem(exc, path, locate, code="aftercare.field") from None
