"""The patient's allergies as they are recorded: coded ones in the patient's language, words as typed."""

from __future__ import annotations

from collections.abc import Iterator

from followup.clinical.protocol.formulary import label_of
from followup.clinical.record.patient import Allergy
from followup.sheets.inputs import SheetInputs, once
from followup.sheets.model import SheetSection
from followup.sheets.wording import ALLERGIES, REACTIONS


def allergies(inputs: SheetInputs) -> SheetSection | None:
    """Every allergy of the record; None where none is recorded."""
    lines = once(_lines(inputs))
    return SheetSection(heading=inputs.words.gettext("Your allergies"), lines=lines) if lines else None


def _lines(inputs: SheetInputs) -> Iterator[str]:
    patient = inputs.record.patient
    for allergy in patient.allergies:
        name, told = _name(inputs, allergy), REACTIONS.get(allergy.reaction)
        yield inputs.say(told) % {"allergy": name} if told else name
    typed = [a.described or "" for a in patient.allergies if a.to != "other"]
    for words in (" ".join(text.split()) for text in (*typed, patient.allergy_text or "")):
        if words:
            # Translators: what was said about allergies, in the very words in which it was written down.
            yield inputs.words.gettext("Written down as: %(words)s") % {"words": inputs.name(words)}


def _name(inputs: SheetInputs, allergy: Allergy) -> str:
    if allergy.medicine is not None:
        return inputs.number(label_of(allergy.medicine, inputs.formulary))
    if allergy.to == "other":
        return inputs.name(allergy.described or "")
    return inputs.say(ALLERGIES[allergy.to])
