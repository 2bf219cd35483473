"""Conditions about allergies, each read by its reaction; free text is asked about, never guessed."""

from __future__ import annotations

import re

from followup.clinical.conditions.base import Answer, Condition, Situation, answer, any_of

_LIST = "patient.allergies"
_TEXT = "patient.allergy_text"

# "Sulfa", "sulphur", "sulfonamide", "sulphite": people mix these up. Sulphate is none of them.
_SULFUR_WORD = re.compile(r"\bsul(?:f|ph)(?!ate)\w*", re.IGNORECASE)
_SHORTEST_NAME = 4


def allergy(to: str, *reactions: str) -> Condition:
    """An allergy to ``to`` with one of these reactions (none given: with any)."""

    def condition(situation: Situation) -> Answer:
        entries = enumerate(situation.record.patient.allergies)
        hits = [i for i, a in entries if a.to == to and (not reactions or a.reaction in reactions)]
        return _found([f"{_LIST}.{i}.reaction" for i in hits])

    return condition


def to_this_medicine(situation: Situation) -> Answer:
    """A named medicine that is this one or shares an active substance with it."""
    hits = [
        f"{_LIST}.{i}.medicine"
        for i, a in enumerate(situation.record.patient.allergies)
        if a.medicine is not None and _shares(a.medicine, situation)
    ]
    return _found(hits)


def sulfur_word_defined(situation: Situation) -> Answer:
    """Whether the record says which sulfur compound is meant, or that none is."""
    patient = situation.record.patient
    hits = [i for i, a in enumerate(patient.allergies) if a.to in ("sulfonamide", "sulphite")]
    if hits:
        return answer(True, *(f"{_LIST}.{i}.to" for i in hits))
    return answer(patient.sulphur_is_neither, "patient.sulphur_is_neither", _LIST)


def sulfur_word_in_text(situation: Situation) -> Answer:
    text = situation.record.patient.allergy_text or ""
    return answer(_SULFUR_WORD.search(text) is not None, _TEXT)


def medicine_named_in_text(situation: Situation) -> Answer:
    text = (situation.record.patient.allergy_text or "").lower()
    names = [s.replace("-", " ") for s in situation.medicine.substances]
    return answer(any(len(n) >= _SHORTEST_NAME and n in text for n in names), _TEXT)


def aspirin_wheeze(situation: Situation) -> Answer:
    """Wheeze or worse after aspirin; in asthma or polyps, aspirin not tolerated means this."""
    conditions = situation.record.patient.conditions
    told = allergy("aspirin", "wheeze", "severe")(situation)
    if told.value or conditions.tolerates_aspirin is not False:
        return told
    airway = ("asthma", "nasal_polyps")
    fields = tuple(f"patient.conditions.{name}" for name in (*airway, "tolerates_aspirin"))
    # A no may turn into a yes by either.
    return any_of([told, answer(any(getattr(conditions, name) for name in airway), *fields)])


def aspirin_other(situation: Situation) -> Answer:
    """Another or an unknown reaction to aspirin, or aspirin simply not tolerated."""
    told = allergy("aspirin", "rash", "other", "not known")(situation)
    if told.value or situation.record.patient.conditions.tolerates_aspirin is not False:
        return told
    return answer(True, "patient.conditions.tolerates_aspirin")


def _shares(named: str, situation: Situation) -> bool:
    substances = (situation.medicine.id, *situation.medicine.substances)
    return any(f"-{substance}-" in f"-{named}-" for substance in substances)


def _found(fields: list[str]) -> Answer:
    if fields:
        return answer(True, *fields)
    return answer(False, _LIST)
