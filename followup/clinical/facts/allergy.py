"""Conditions about allergies, each read by its reaction; words count like entries of the list."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from followup.clinical.facts.answer import Answer, Condition, OnePerson, answer, any_of

if TYPE_CHECKING:
    from followup.clinical.facts.allergies_told import ToldAllergy

_LIST = "patient.allergies"
_TEXT = "patient.allergy_text"
_SEVERE = ("severe", "wheeze")
_MILD = ("rash", "other")


def allergy(to: str, *reactions: str) -> Condition:
    """An allergy to ``to`` with one of these reactions (none given: with any)."""

    def condition(situation: OnePerson) -> Answer:
        return _found(t for t in situation.allergies if to in t.to and _as(t, reactions))

    return condition


def to_this_medicine(situation: OnePerson) -> Answer:
    """A medicine named in the list that is this one or shares an active substance with it."""
    return _found(t for t in situation.allergies if not t.in_words and _shares(t, situation))


def named_in_words(*reactions: str) -> Condition:
    """This medicine, or a substance of it, named in the free text with one of these reactions."""

    def condition(situation: OnePerson) -> Answer:
        told = (t for t in situation.allergies if t.in_words and _shares(t, situation))
        return _found(t for t in told if _as(t, reactions))

    return condition


def same_class(*reactions: str) -> Condition:
    """An allergy to another medicine of this one's class, with one of these reactions."""

    def of_the_class(told: ToldAllergy, situation: OnePerson) -> bool:
        return bool(set(told.kinds) & set(situation.medicine.kinds)) and not _shares(told, situation)

    def condition(situation: OnePerson) -> Answer:
        told = (t for t in situation.allergies if of_the_class(t, situation))
        return _found(t for t in told if _as(t, reactions))

    return condition


named_severe = named_in_words(*_SEVERE)
named_otherwise = named_in_words(*_MILD, "not known")
same_class_severe = same_class(*_SEVERE)
same_class_mild = same_class(*_MILD)
same_class_unknown = same_class("not known")


def sulfur_word_defined(situation: OnePerson) -> Answer:
    """Whether the record says which sulfur compound is meant, or that none is."""
    patient = situation.record.patient
    hits = [i for i, a in enumerate(patient.allergies) if a.to in ("sulfonamide", "sulphite")]
    if hits:
        return answer(True, *(f"{_LIST}.{i}.to" for i in hits))
    return answer(patient.sulphur_is_neither, "patient.sulphur_is_neither", _LIST)


def sulfur_word_in_text(situation: OnePerson) -> Answer:
    """A word that can mean a sulfonamide, a sulphite, or neither."""
    return answer(any(t.unclear and t.in_words for t in situation.allergies), _TEXT)


def aspirin_wheeze(situation: OnePerson) -> Answer:
    """Wheeze or worse after aspirin; in asthma or polyps, aspirin not tolerated means this."""
    conditions = situation.record.patient.conditions
    told = allergy("aspirin", *_SEVERE)(situation)
    if told.value or conditions.tolerates_aspirin is not False:
        return told
    airway = ("asthma", "nasal_polyps")
    fields = tuple(f"patient.conditions.{name}" for name in (*airway, "tolerates_aspirin"))
    # A no may turn into a yes by either.
    return any_of([told, answer(any(getattr(conditions, name) for name in airway), *fields)])


def aspirin_other(situation: OnePerson) -> Answer:
    """Another or an unknown reaction to aspirin, or aspirin simply not tolerated."""
    told = allergy("aspirin", *_MILD, "not known")(situation)
    if told.value or situation.record.patient.conditions.tolerates_aspirin is not False:
        return told
    return answer(True, "patient.conditions.tolerates_aspirin")


def _as(told: ToldAllergy, reactions: tuple[str, ...]) -> bool:
    return not reactions or told.reaction in reactions


def _shares(told: ToldAllergy, situation: OnePerson) -> bool:
    substances = (situation.medicine.id, *situation.medicine.substances)
    return told.medicine is not None and any(f"-{s}-" in f"-{told.medicine}-" for s in substances)


def _found(told: Iterable[ToldAllergy]) -> Answer:
    found = list(told)
    if not found:
        return answer(False, _LIST, _TEXT)
    fields = tuple(dict.fromkeys(field for t in found for field in t.fields))
    return Answer(True, fields, tuple(dict.fromkeys(field for t in found for field in t.answers)))
