"""How a sheet is to look: what the counsellor may choose, without changing what the plan says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from followup.clinical.record import Record
from followup.language.catalogues import choose

Size = Literal["normal", "large"]
Paper = Literal["A4", "A5", "Letter"]


@dataclass(frozen=True)
class SheetOptions:
    """Body text of 14 points (normal) or 18 (large); ISO 216 A4 or A5, or US Letter.

    ``twin`` is the tag of the staff's language, printed under every line of the patient's.
    ``pictures`` draws the day, the bottles and the rules for someone who does not read.
    ``calendar`` adds the days to tick. ``native_digits`` puts the language's own digits beside
    the Latin ones, which stay.
    """

    size: Size = "normal"
    paper: Paper = "A4"
    twin: str | None = None
    pictures: bool = False
    calendar: bool = True
    native_digits: bool = False


def usual_options(record: Record) -> SheetOptions:
    """What suits the patient where nobody chose: pictures for someone who does not read, and the second
    language that the record asks for, where the sheet has words in it."""
    second = record.patient.second_language
    twin = second if second and not choose(second).missing else None
    return SheetOptions(pictures=record.patient.can_read is False, twin=twin)
