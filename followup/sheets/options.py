"""How a sheet is to look: what may be chosen, without changing what the plan says."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Literal

from followup.clinical.record import Record
from followup.language.catalogues import choose

Size = Literal["normal", "large"]
Paper = Literal["A4", "A5", "Letter"]


@dataclass(frozen=True)
class SheetOptions:
    """Body text of 14 points (normal) or 18 (large); ISO 216 A4 or A5, or US Letter.

    ``twin`` is the tag of the staff's language, for a leaf of its own beside the patient's.
    ``pictures`` draws the day, the bottles and the rules for someone who does not read.
    ``calendar`` adds the days to tick. ``native_digits`` puts the language's own digits beside
    the Latin ones, which stay.
    """

    size: Size = "normal"
    paper: Paper = "A4"
    twin: str | None = None
    pictures: bool = False
    calendar: bool = False
    native_digits: bool = False


@dataclass(frozen=True)
class SheetChoices:
    """What somebody chose; None where nothing was said. An empty ``twin``: no second language."""

    size: Size | None = None
    paper: Paper | None = None
    twin: str | None = None
    pictures: bool | None = None
    calendar: bool | None = None
    native_digits: bool | None = None

    def over(self, options: SheetOptions) -> SheetOptions:
        """``options`` with what was chosen in their place."""
        said = {name: choice for name, choice in asdict(self).items() if choice is not None}
        return replace(options, **said | ({"twin": self.twin or None} if "twin" in said else {}))


NOTHING_CHOSEN = SheetChoices()


def usual_options(
    record: Record, chosen: SheetChoices = NOTHING_CHOSEN, *, calendar: bool = False
) -> SheetOptions:
    """How the patient's sheet is printed: as was chosen, and where nothing was, as suits the patient.

    That is pictures for someone who does not read, and the second language that the record asks for,
    where the sheet has words in it. ``calendar``: the clinic wants days to tick on every sheet.
    """
    second = record.patient.second_language
    twin = second if second and not choose(second).missing else None
    return chosen.over(SheetOptions(pictures=record.patient.can_read is False, twin=twin, calendar=calendar))
