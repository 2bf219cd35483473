"""The parts of a day by the sun, for pictures that need no reading and no clock."""

from __future__ import annotations

from typing import Literal

from followup.language.catalogues import N_

DayPart = Literal["rise", "morning", "noon", "afternoon", "evening", "night"]

# Translators: parts of the day, under a picture of the sun on its way.
DAY_PARTS: dict[DayPart, str] = {
    "rise": N_("Early morning"),
    "morning": N_("Morning"),
    "noon": N_("Noon"),
    "afternoon": N_("Afternoon"),
    "evening": N_("Evening"),
    "night": N_("Night"),
}

# The clock time at which each part begins. Everyday usage, no source: the sun differs by season and place.
_BEGINS: tuple[tuple[str, DayPart], ...] = (
    ("20:00", "night"),
    ("17:00", "evening"),
    ("14:00", "afternoon"),
    ("11:30", "noon"),
    ("08:00", "morning"),
    ("05:00", "rise"),
)


def day_part(time: str) -> DayPart:
    """The part of the day of a clock time such as "06:30"; before five it is still night."""
    return next((part for begins, part in _BEGINS if time >= begins), "night")
