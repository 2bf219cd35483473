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


@pytest.mark.parametrize("tag", [tag for tag in LANGUAGES if tag != "en"])
def test_every_sheet_says_as_much_as_the_english_one_and_says_that_it_is_a_draft(tag, sheets_of_the_cases):
    for name, english in sheets_of_the_cases("en").items():
        other = sheets_of_the_cases(tag)[name]
        assert len(other.bottles) == len(english.bottles)
        assert len(other.visits) == len(english.visits)
        assert [len(s.lines) for s in other.sections] == [len(s.lines) for s in english.sections]
        assert len(other.alarm.signs) == len(english.alarm.signs) >= 4
        assert len(other.marks) == len(english.marks) + 1, "the mark of a draft translation"
