"""Allergies as the record tells them, in its list and in words: read together, and asked about.

A word counts like an entry of the list. What the words leave open is a question that blocks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, cast

from followup.clinical.careplan import AllergyLine, Question, Reason
from followup.clinical.english import joined
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.protocol.names import KnownNames, Reaction, Reading
from followup.clinical.record import Record
from followup.clinical.record.given import AllergyTold
from followup.clinical.record.patient import AllergyTo
from followup.said import say
from followup.typed import typed

LIST = "patient.allergies"
TEXT = "patient.allergy_text"


def told_allergies(record: Record, names: KnownNames, medicine: Medicine) -> tuple[AllergyTold, ...]:
    """Every allergy of the record, as one asks it of ``medicine``. Words add to the list; only where they
    tell no reaction and the list names the same thing, the list is the better witness."""
    told, known = [], set[str]()
    for i, allergy in enumerate(record.patient.allergies):
        named = allergy.medicine or allergy.described
        own = tuple(one.id for one in names.classes.values() if one.allergy == allergy.to)
        classes = own or (names.classes_of(named) if named else ())
        place = f"{LIST}.{i}." + ("medicine" if allergy.medicine else "reaction")
        listed = _Entry(names, medicine, classes, allergy.medicine, allergy.reaction)
        told.append(listed.told((place,), (place,), allergy.to))
        known |= set(classes)
    for n in reading(record, names).named:
        if n.reaction != "not known" or not known & set(n.classes):
            worded = _Entry(names, medicine, n.classes, n.substance, n.reaction)
            told.append(worded.told((TEXT,), (TEXT, LIST)))
    return tuple(told)


@dataclass(frozen=True)
class _Entry:
    """What one allergy is about: classes of the names, or one medicine."""

    names: KnownNames
    medicine: Medicine
    classes: tuple[str, ...]
    named: str | None
    reaction: Reaction

    def told(
        self, fields: tuple[str, ...], answers: tuple[str, ...], listed: AllergyTo | None = None
    ) -> AllergyTold:
        found = [self.names.classes[id_] for id_ in self.classes]
        words = [listed, *(one.allergy for one in found)]
        return AllergyTold(
            fields=fields,
            answers=answers,
            to=tuple(dict.fromkeys(cast(AllergyTo, word) for word in words if word)),
            names=self._names({kind for one in found for kind in one.kinds}),
            reaction=self.reaction,
            in_words=listed is None,
            unclear=any(one.unclear for one in found),
        )

    def _names(self, kinds: set[str]) -> Literal["this medicine", "its class", "neither"]:
        substances = (self.medicine.id, *self.medicine.substances)
        if self.named is not None and any(f"-{s}-" in f"-{self.named}-" for s in substances):
            return "this medicine"
        return "its class" if kinds & set(self.medicine.kinds) else "neither"


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
