"""Allergies as the record tells them, in its list and in words: read together, and asked about.

A word counts like an entry of the list. What the words leave open is a question that blocks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from followup.clinical.careplan import AllergyLine, Question, Reason
from followup.clinical.english import joined
from followup.clinical.protocol.names import KnownNames, Reaction, Reading
from followup.clinical.record import Record
from followup.said import say
from followup.typed import typed

LIST = "patient.allergies"
TEXT = "patient.allergy_text"


@dataclass(frozen=True)
class ToldAllergy:
    """One allergy: the words of the list that it falls under, the medicine named, the reaction.

    ``kinds`` are the classes of the formulary that it is about. ``unclear``: the word means several
    things. ``fields`` are where it stands, ``answers`` what could settle it. ``in_words``: free text.
    """

    to: tuple[str, ...]
    classes: tuple[str, ...]
    kinds: tuple[str, ...]
    medicine: str | None
    reaction: Reaction
    fields: tuple[str, ...]
    answers: tuple[str, ...]
    unclear: bool = False
    in_words: bool = False


def told_allergies(record: Record, names: KnownNames) -> tuple[ToldAllergy, ...]:
    """Every allergy of the record. Words add to the list; only where they tell no reaction and the list
    names the same thing, the list is the better witness."""
    listed = []
    for i, allergy in enumerate(record.patient.allergies):
        named = allergy.medicine or allergy.described
        own = tuple(one.id for one in names.classes.values() if one.allergy == allergy.to)
        classes = own or (names.classes_of(named) if named else ())
        place = f"{LIST}.{i}." + ("medicine" if allergy.medicine else "reaction")
        listed.append(
            _told(names, classes, allergy.to, allergy.medicine, allergy.reaction, (place,), (place,))
        )
    worded = [
        replace(_told(names, n.classes, None, n.substance, n.reaction, (TEXT,), (TEXT, LIST)), in_words=True)
        for n in reading(record, names).named
    ]
    known = {c for told in listed for c in told.classes}
    more = [told for told in worded if told.reaction != "not known" or not known & set(told.classes)]
    return (*listed, *more)


def _told(
    names: KnownNames,
    classes: tuple[str, ...],
    to: str | None,
    medicine: str | None,
    reaction: Reaction,
    fields: tuple[str, ...],
    answers: tuple[str, ...],
) -> ToldAllergy:
    found = [names.classes[id_] for id_ in classes]
    words = [to, *(one.allergy for one in found)]
    return ToldAllergy(
        to=tuple(dict.fromkeys(word for word in words if word)),
        classes=classes,
        kinds=tuple(dict.fromkeys(kind for one in found for kind in one.kinds)),
        medicine=medicine,
        reaction=reaction,
        fields=fields,
        answers=answers,
        unclear=any(one.unclear for one in found),
    )


def reading(record: Record, names: KnownNames) -> Reading:
    """What the patient's words say; words that the list explains are understood."""
    entries = record.patient.allergies
    explained = [word for a in entries for word in (a.described, a.medicine, a.to) if word]
    return names.read(record.patient.allergy_text or "", explained)


def allergy_lines(record: Record) -> tuple[AllergyLine, ...]:
    """Every allergy as it is recorded: each entry of the list, and the words as they were written."""
    patient = record.patient
    lines = [
        AllergyLine(to=a.to, medicine=a.medicine, described=a.described, reaction=a.reaction)
        for a in patient.allergies
    ]
    words = (patient.allergy_text or "").strip()
    return (*lines, *([AllergyLine(words=words)] if words else ()))


def allergy_questions(record: Record, names: KnownNames) -> Iterator[Question]:
    """What the words about allergies leave open: a question that blocks, never a guess."""
    read = reading(record, names)
    text = (record.patient.allergy_text or "").strip()
    open_words = list(read.unknown)
    contradicts = read.none and bool(record.patient.allergies) and not open_words
    if contradicts:
        open_words = [text]
    if not open_words:
        return
    quoted = joined((f"“{typed(word)}”" for word in open_words), ", ")
    yield Question(
        id="allergy-words",
        text=say(
            "The words about allergies are not understood: {quoted}. What is the patient allergic to, "
            "and how did it show? Enter it in the list of allergies, or correct the words.",
            quoted=quoted,
        ),
        eye=None,
        fields=(LIST, TEXT),
        reasons=(
            Reason(
                rule="allergy-words",
                because=say(
                    "Words about allergies that are not understood may name a medicine of this plan."
                ),
                source="common practice, no source",
                mark="C",
            ),
        ),
    )
