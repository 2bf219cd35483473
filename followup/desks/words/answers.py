"""The answers that a field of the record offers, each with its word: choices, medicines, languages."""

from __future__ import annotations

from collections.abc import Mapping

from followup.care.fields.shape import Field
from followup.clinical.protocol.formulary import Medicine
from followup.desks.words.texts import Texts, language_name
from followup.language.languages import LANGUAGES


def answers_to(
    texts: Texts, formulary: Mapping[str, Medicine], asked: Field, given: str = ""
) -> list[tuple[str, str]]:
    """Pairs of value and word. ``given``: what the form holds, which stands there in any case."""
    found = _answers(texts, formulary, asked)
    known = not given or any(value == given for value, _word in found)
    return found if known else [*found, (given, given)]


def _answers(texts: Texts, formulary: Mapping[str, Medicine], asked: Field) -> list[tuple[str, str]]:
    if asked.kind == "medicine":
        named = [(key, one.label) for key, one in formulary.items() if _fits(one, asked.of)]
        return sorted(named, key=lambda pair: pair[1].casefold())
    if asked.kind in ("language", "languages"):
        return [(tag, language_name(tag)) for tag in LANGUAGES]
    return [(word, texts.choice(word, asked.of)) for word in asked.choices or ("no", "yes")]


def _fits(medicine: Medicine, of: str) -> bool:
    """Whether the medicine can be the answer: what is put into the eye, dropped or swallowed."""
    if of == "SteroidGiven.medicine":
        return medicine.route == "injection" and medicine.role == "steroid"
    if of == "Operation.antibiotic":
        return medicine.route == "injection" and medicine.role == "antibiotic"
    return of == "Allergy.medicine" or medicine.route != "injection"
