"""What the sheets of the told cases print in every language, after all names and numbers are in."""

from __future__ import annotations

import pytest

from followup.language.fonts import uncovered
from followup.language.languages import LANGUAGES
from followup.language.safeguards import PROTECTED, forbidden

tags = pytest.mark.parametrize("tag", LANGUAGES)


@tags
def test_no_forbidden_abbreviation_stands_on_any_sheet(tag, sheets_of_the_cases, printed):
    for name, sheet in sheets_of_the_cases(tag).items():
        assert sheet.language == tag
        found = [(text, forbidden(text)) for text in printed(sheet) if forbidden(text)]
        assert found == [], name


@tags
def test_no_placeholder_is_left_on_any_sheet(tag, sheets_of_the_cases, printed):
    for name, sheet in sheets_of_the_cases(tag).items():
        kept = {sheet.foot.page}
        assert [t for t in printed(sheet) if ("%(" in t or "{" in t) and t not in kept] == [], name


@tags
def test_every_character_of_every_sheet_has_a_font(tag, sheets_of_the_cases, printed):
    for sheet in sheets_of_the_cases(tag).values():
        assert uncovered("".join(printed(sheet))) == ()


@pytest.mark.parametrize("tag", [tag for tag in LANGUAGES if tag != "en"])
def test_the_eye_of_the_english_sheet_is_the_eye_of_every_other(tag, sheets_of_the_cases):
    words = PROTECTED[tag]
    for name, english in sheets_of_the_cases("en").items():
        told = sheets_of_the_cases(tag)[name].face.words.casefold()
        side = english.face.words.lower()
        assert side in ("left eye", "right eye", "both eyes")
        for eye in ("left eye", "right eye"):
            assert any(ours.casefold() in told for ours in words[eye]) == (eye == side), name


# Beside these a sheet differs from the English one in its words alone: hours that are not counted by the
# clock of 24, letters, and what is said of a draft translation.
_OF_A_LANGUAGE = {"said", "fonts", "language", "direction", "scale", "leading", "marks"}


def _form(value):
    """A sheet without its words: how many of everything it has."""
    if isinstance(value, dict):
        return {key: _form(part) for key, part in value.items() if key not in _OF_A_LANGUAGE}
    if isinstance(value, (list, tuple)):
        return [_form(part) for part in value]
    return None if value is None else type(value)


@pytest.mark.parametrize("tag", [tag for tag in LANGUAGES if tag != "en"])
def test_every_sheet_says_as_much_as_the_english_one_and_says_that_it_is_a_draft(tag, sheets_of_the_cases):
    for name, english in sheets_of_the_cases("en").items():
        other = sheets_of_the_cases(tag)[name]
        assert _form(other.model_dump()) == _form(english.model_dump()), name
        assert len(other.alarm.signs) == 7
        assert len(other.marks) == len(english.marks) + 1, "the mark of a draft translation"
