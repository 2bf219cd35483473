"""The digits of each script against the Unicode Character Database and CLDR."""

from __future__ import annotations

import unicodedata

import pytest
from babel import Locale

from followup.language.digits import native_digits
from followup.language.languages import LANGUAGES, LATIN_DIGITS

# CLDR's native numbering systems of these locales, by the name that Unicode gives their digits.
NATIVE = {
    "bn": "BENGALI DIGIT",
    "hi": "DEVANAGARI DIGIT",
    "ta": "TAMIL DIGIT",
    "te": "TELUGU DIGIT",
    "ur": "EXTENDED ARABIC-INDIC DIGIT",
    "ar": "ARABIC-INDIC DIGIT",
    "ne": "DEVANAGARI DIGIT",
}
SYSTEMS = {
    "BENGALI DIGIT": "beng",
    "DEVANAGARI DIGIT": "deva",
    "TAMIL DIGIT": "tamldec",
    "TELUGU DIGIT": "telu",
    "EXTENDED ARABIC-INDIC DIGIT": "arabext",
    "ARABIC-INDIC DIGIT": "arab",
}


@pytest.mark.parametrize("tag", LANGUAGES)
def test_the_ten_digits_are_nought_to_nine_of_one_script(tag):
    digits = LANGUAGES[tag].digits
    assert [unicodedata.digit(c) for c in digits] == list(range(10))
    kind = NATIVE.get(tag, "DIGIT")
    assert {unicodedata.name(c).rpartition(" ")[0] for c in digits} == {kind}


@pytest.mark.parametrize("tag", NATIVE)
def test_the_script_is_the_one_that_cldr_calls_native(tag):
    assert Locale.parse(tag).other_numbering_systems["native"] == SYSTEMS[NATIVE[tag]]


@pytest.mark.parametrize("tag", LANGUAGES)
def test_only_the_digits_of_a_text_change(tag):
    spoken = LANGUAGES[tag]
    found = native_digits("5 March 2026, 06:30", spoken)
    if spoken.digits == LATIN_DIGITS:
        assert found is None
        assert tag not in NATIVE
    else:
        d = spoken.digits
        assert found == f"{d[5]} March {d[2]}{d[0]}{d[2]}{d[6]}, {d[0]}{d[6]}:{d[3]}{d[0]}"
