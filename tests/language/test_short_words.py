"""Words for narrow places: why a visit is and what a medicine is for fit into forty letters."""

from __future__ import annotations

import unicodedata

import pytest

from followup.language.catalogues import translator
from followup.language.languages import LANGUAGES
from followup.language.safeguards import says_no
from followup.sheets.wording import PURPOSES, REASONS

tags = pytest.mark.parametrize("tag", LANGUAGES)
MOST = 40

# How each language says "drive".
DRIVE = {
    "en": "drive",
    "bn": "গাড়ি চালা",
    "hi": "गाड़ी",
    "ta": "வண்டி ஓட்ட",
    "te": "బండి నడప",
    "ur": "گاڑی",
    "ar": "قيادة",
    "sw": "endeshe",
    "fr": "conduisez",
    "es": "conduzca",
    "pt": "dirija",
    "ne": "गाडी",
}


def letters(text: str) -> int:
    """Letters as a reader counts them: a vowel sign or a mark of direction belongs to its letter."""
    return sum(unicodedata.category(each) not in ("Mn", "Mc", "Me", "Cf") for each in text)


def _too_long(tag: str, messages: dict[str, str]) -> dict[str, str]:
    say = translator(tag).gettext
    return {name: say(text) for name, text in messages.items() if letters(say(text)) > MOST}


@tags
def test_every_reason_of_a_visit_fits_forty_letters_in_every_language(tag):
    assert _too_long(tag, REASONS) == {}


@tags
def test_every_purpose_of_a_medicine_fits_forty_letters_in_every_language(tag):
    assert _too_long(tag, PURPOSES) == {}


@tags
def test_whoever_gets_a_wide_pupil_is_told_not_to_drive_that_day_in_every_language(tag):
    reason = translator(tag).gettext(REASONS["retina"])
    assert DRIVE[tag] in reason
    assert " not " in reason if tag == "en" else says_no(reason, tag)


@pytest.mark.parametrize(
    ("text", "count"), [("eye", 3), ("आँख", 2), ("கண்", 2), ("\u2066eye\u2069", 3), ("قطرة", 4), ("œil ?", 5)]
)
def test_a_letter_is_counted_once_with_its_signs(text, count):
    assert letters(text) == count
