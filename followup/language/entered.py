"""What is typed in and stands on paper later is refused here, when it is entered, if no font prints it.

Found only after signing, a name without a font would leave a patient without a sheet.
"""

from __future__ import annotations

from collections.abc import Iterator

from followup.clinical.record import Record
from followup.language.direction import without_marks
from followup.language.fonts import must_be_covered, printable_name


def must_print(record: Record) -> None:
    """The texts of a record that a sheet prints as they were typed can be printed.

    A name may be in any script where it is given in Latin letters too. Raises FollowupError
    ``language.glyph`` naming the field and the first character.
    """
    patient = record.patient
    printable_name(without_marks(patient.name), patient.name_latin, "patient.name")
    for where, text in _typed(record):
        must_print_text(text, where)


def must_print_text(text: str, where: str) -> str:
    """A text of the clinic or its staff that stands on sheets, if it can be printed.

    Raises FollowupError ``language.glyph`` naming ``where`` and the first character.
    """
    must_be_covered(without_marks(" ".join(text.split())), where)
    return text


def _typed(record: Record) -> Iterator[tuple[str, str]]:
    for i, allergy in enumerate(record.patient.allergies):
        if allergy.described:
            yield f"patient.allergies.{i}.described", allergy.described
    if record.patient.allergy_text:
        yield "patient.allergy_text", record.patient.allergy_text
    for i, entry in enumerate(record.in_use):
        if entry.ordered_by:
            yield f"in_use.{i}.ordered_by", entry.ordered_by
