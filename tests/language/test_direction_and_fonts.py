"""Numbers inside right-to-left lines, and characters that no font of ours can draw."""

from __future__ import annotations

import pytest

from followup.errors import FollowupError
from followup.language.catalogues import translator
from followup.language.direction import name, number, without_marks
from followup.language.fonts import fallback, font_file, must_be_covered, printable_name, uncovered
from followup.language.languages import LANGUAGES, language

ARABIC, ENGLISH = LANGUAGES["ar"], LANGUAGES["en"]


def test_a_telephone_number_is_isolated_only_where_the_line_runs_from_the_right():
    assert number("+44 20 7946 0101", ENGLISH) == "+44 20 7946 0101"
    assert number("+44 20 7946 0101", ARABIC) == "\u2066+44 20 7946 0101\u2069"


def test_a_name_in_a_right_to_left_script_is_isolated_in_an_english_line():
    assert name("Amina", ENGLISH) == "Amina"
    assert name("أمينة", ENGLISH) == "\u2068أمينة\u2069"


def test_marks_typed_into_a_name_are_taken_out():
    assert without_marks("A\u202eB\u2066C") == "ABC"


@pytest.mark.parametrize("tag", LANGUAGES)
def test_the_fonts_cover_every_character_of_every_catalogue(tag):
    text = "".join(form for forms in translator(tag).messages.values() for form in forms)
    assert uncovered(text + "0123456789:+-%()·–•") == ()


@pytest.mark.parametrize("tag", LANGUAGES)
def test_every_language_tries_its_own_font_first_and_every_other_for_names(tag):
    spoken = language(tag)
    assert fallback(spoken)[: len(spoken.fonts)] == spoken.fonts
    assert set(fallback(spoken)) == {f for each in LANGUAGES.values() for f in each.fonts}
    assert all(font_file(family, weight).is_file() for family in spoken.fonts for weight in (400, 700))


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("สมชาย", "U+0E2A (thai character so sua)"),
        ("a\x00b", "U+0000 (a character without a name)"),
        ("\ue000", "U+E000"),
        ("x\ufffd", "U+FFFD (replacement character)"),
    ],
)
def test_a_character_without_a_font_is_named(text, named):
    with pytest.raises(FollowupError) as refused:
        must_be_covered(text, "who.name")
    assert named in refused.value.what
    assert refused.value.where == "who.name"


def test_a_name_without_a_font_is_printed_in_its_latin_letters():
    assert printable_name("সমীর", "Samir", "patient.name") == "সমীর"
    assert printable_name("สมชาย", "Somchai", "patient.name") == "Somchai"


@pytest.mark.parametrize("latin", [None, "สมชาย"])
def test_a_name_that_nothing_can_print_names_its_first_character(latin):
    with pytest.raises(FollowupError) as refused:
        printable_name("สมชาย", latin, "patient.name")
    assert refused.value.code == "language.glyph"
    assert "U+0E2A (thai character so sua)" in refused.value.what


def test_every_digit_of_every_script_has_a_font():
    assert uncovered("".join(spoken.digits for spoken in LANGUAGES.values())) == ()
