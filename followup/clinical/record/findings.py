"""What a review saw. "not seen" and "not done" are values and never mean normal."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from followup.clinical.record.base import Day, Eye, RecordPart, Short, Text
from followup.said import say
from followup.timing.calendar_entries import ClockTime

Cells = Literal["0", "0.5+", "1+", "2+", "3+", "4+", "not seen"]
Flare = Literal["0", "1+", "2+", "3+", "4+", "not seen"]
SeenOrNot = Literal["yes", "no", "not seen"]
MOST_MMHG = 90


def _mmhg(value: Any) -> Any:
    """Say what a pressure is in one line; pydantic would name both branches of the union."""
    if value == "not done":
        return value
    try:
        number = -1.0 if isinstance(value, bool) else float(value)
    except (TypeError, ValueError):
        number = -1.0
    if 0 <= number <= MOST_MMHG:
        return number
    raise ValueError(say('write the pressure in mmHg, 0 to {most_mmhg}, or "not done"', most_mmhg=MOST_MMHG))


Pressure = Annotated[
    Annotated[float, Field(ge=0, le=MOST_MMHG)] | Literal["not done"], BeforeValidator(_mmhg)
]


class Findings(RecordPart):
    """One eye at one review. Pressure in mmHg. Grades are SUN grades."""

    eye: Eye
    date: Day
    time: ClockTime | None = None
    by: Short | None = None
    eye_confirmed: bool | None = None
    drops_taken: Literal["as told", "missed some", "stopped", "run out", "lost", "not asked"] | None = None
    technique_seen: Literal["good", "needs help", "not seen"] | None = None
    vision: Short | None = None
    pinhole: Short | None = None
    best_corrected: Short | None = None
    vision_falling: SeenOrNot | None = None
    pain: SeenOrNot | None = None
    redness_growing: SeenOrNot | None = None
    lid_swelling: SeenOrNot | None = None
    cells: Cells | None = Field(
        None,
        description="SUN grade by the cells in a field of 1 x 1 mm: 0: under 1; 0.5+: 1-5; 1+: 6-15; "
        "2+: 16-25; 3+: 26-50; 4+: over 50",
    )
    flare: Flare | None = None
    hypopyon: SeenOrNot | None = None
    fibrin: SeenOrNot | None = None
    infection_treated: bool | None = Field(None, description="treated as an infection inside the eye")
    pressure: Pressure | None = None
    pressure_device: Short | None = None
    chamber: Literal["deep", "shallow", "flat", "not seen"] | None = None
    leak: Literal["none", "slow", "fast", "not seen"] | None = None
    cornea: Literal["clear", "central haze", "whole oedema", "not seen"] | None = None
    epithelial_defect: SeenOrNot | None = None
    blood: Literal["none", "cells only", "level", "not seen"] | None = None
    lens_position: Literal["centred", "off centre", "not seen"] | None = None
    lens_material: SeenOrNot | None = None
    loose_stitch: SeenOrNot | None = None
    macula: Literal["dry", "oedema", "not seen"] | None = None
    retina: Literal["flat", "tear", "detached", "not seen"] | None = None
    synechiae: SeenOrNot | None = None
    refraction: Short | None = None
    stitches_out: bool | None = None
    note: Text | None = None
