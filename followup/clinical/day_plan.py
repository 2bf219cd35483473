"""The day and the shelf: which drops at which clock times, and the bottles that they come from."""

from __future__ import annotations

from datetime import date

from followup.clinical.plan_part import PlanPart


def halves(number: float) -> str:
    """A number of whole or half tablets in figures: "4", "½", "1½"."""
    whole, half = divmod(number, 1)
    return f"{int(whole) or '' if half else int(whole)}{'½' if half else ''}"


class Dose(PlanPart):
    """A bottle's share of a phase: how many times, and at which clock times."""

    course: str
    count: int
    times: tuple[str, ...]


class DayPhase(PlanPart):
    """Dates with the same counts throughout. ``times`` are all the rounds, in order of the day."""

    start: date
    end: date
    times: tuple[str, ...]
    doses: tuple[Dose, ...]


class Bottle(PlanPart):
    """One bottle: opened on ``opened``, thrown away on the evening of ``discard``.

    Tablets and single doses are what one visit hands over: ``units`` are counted for the days from
    ``opened`` to ``discard``, the last on which the next visit may still be, and nothing is thrown away.
    """

    course: str
    number: int
    opened: date
    discard: date
    drops: int
    units: float | None = None
    handed_over: date
    handed_over_trip: int | None = None

    @property
    def figure(self) -> str:
        """How many tablets or single doses, in figures."""
        return halves(self.units or 0)
