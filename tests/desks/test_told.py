"""English sentences of the rooms that know no language, told in the language of the page."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.desks.extraction import DESK_LANGUAGES, desk_messages
from followup.desks.forms.place import Place
from followup.desks.told import Teller, _patterns, upright
from followup.errors import FollowupError
from followup.language.catalogues import Review, Translator, translator
from followup.language.languages import LANGUAGES

FRENCH = LANGUAGES["fr"]


def _mirror() -> Translator:
    """A language in which every message is itself between brackets."""
    messages = {}
    for message in desk_messages():
        if isinstance(message.id, str) and message.id:
            messages[(None, message.id)] = (f"[{message.id}]",)
        elif message.id:
            messages[(None, message.id[0])] = tuple(f"[{each}]" for each in message.id)
    return Translator(FRENCH, "desk", Review(), messages)


@pytest.fixture(scope="module")
def mirror() -> Translator:
    return _mirror()


@pytest.fixture
def told(mirror):
    return Teller(mirror).told


def test_a_sentence_with_a_value_is_found_again_by_its_fixed_words(told):
    assert told("the code K-104 is already in use") == "[the code K-104 is already in use]"


def test_a_value_that_is_a_word_itself_is_told_too(told):
    assert told("the left eye was not operated on") == "[the [left] eye was not operated on]"


def test_a_day_inside_a_sentence_stands_in_words(told):
    said = told("this visit is not before 2027-03-08")
    assert "lundi 8 mars 2027" in said


def test_a_day_of_the_explanations_stands_in_words_too(told):
    assert told("The last day is 16 March 2027.") == "[The last day is mardi 16 mars 2027.]"


def test_something_that_looks_like_a_day_and_is_none_stays_as_it_is(told):
    assert told("The last day is 31 February 2027.") == "[The last day is 31 February 2027.]"


def test_several_sentences_are_told_one_by_one(told):
    both = "The steroid is the weaker one already. What was not seen never counts as normal."
    assert told(both) == (
        "[The steroid is the weaker one already.] [What was not seen never counts as normal.]"
    )


def test_what_no_message_fits_is_shown_as_it_is(told):
    assert told("zxq, something that nobody wrote") == "zxq, something that nobody wrote"


def test_an_error_is_told_part_by_part(told):
    error = FollowupError("plan.none", "no such plan", where="plan 3 of K-1", fix="open the newest version")
    assert told(error.line) == "[plan 3 of K-1]: [no such plan] - [open the newest version]"


def test_a_place_in_the_record_is_told_label_by_label(told):
    place = Place.of([("Allergies", 2), ("Reaction", None)])
    assert place == "Allergies 2, Reaction"
    assert told(place) == "[Allergies] 2, [Reaction]"


def test_a_sentence_keeps_its_frame_and_no_value_reaches_over_its_end(told):
    assert told("Rule nsaid-blood: An NSAID hinders clotting.") == (
        "[Rule nsaid-blood: [An NSAID hinders clotting.]]"
    )
    assert told("An NSAID hinders clotting. It gave way: Uveitis comes back when the steroid ends.") == (
        "[An NSAID hinders clotting.] [It gave way: [Uveitis comes back when the steroid ends.]]"
    )


def test_only_a_side_stands_before_the_word_eye(told):
    said = told("Prednisolone 1%, left eye: 4 a day for 7 days.")
    assert "[Prednisolone 1%, [left eye]: " in said
    assert "[7 days]" in said


def test_a_fact_is_told_whole_though_it_holds_a_comma(told):
    fact = "shallow, pressed from behind, flat at a review, or depth not recorded"
    assert f"[{fact}]" in told(f"The record: {fact} (operations.0.chamber).")


def test_english_is_never_touched():
    words = translator("en", "desk")
    assert Teller(words).told("this visit is not before 2027-03-08") == "this visit is not before 2027-03-08"


@given(st.text(min_size=1, max_size=80))
def test_any_text_is_told_and_no_text_is_lost_in_a_language_without_words(text: str):
    silent = Translator(FRENCH, "desk", Review(), {})
    spaced = " ".join(text.split())
    assert Teller(silent).told(spaced) == spaced or re.search(r"\d", spaced)


def test_every_message_with_values_is_found_again_as_itself(mirror):
    """No message takes another's place: the one with the most fixed words that fits is the one meant."""
    teller = Teller(mirror)
    for _pattern, message in _patterns():
        values = iter(f"Zx{n}q" for n in range(20))
        seen = {"eye": "left", "expected": "'Zxq'"}
        text = re.sub(r"\{(\w+)\}", lambda m: seen.setdefault(m[1], next(values)), message)  # noqa: B023
        found = re.sub(r"\{(\w+)\}", lambda m: teller.told(seen[m[1]]), message)  # noqa: B023
        assert teller.told(text) in (f"[{found}]", f"[{text}]"), message


def test_the_languages_of_the_desks_are_those_of_the_house():
    assert set(DESK_LANGUAGES) == {"en", "fr", "hi", "bn", "ar"}


ARABIC = translator("ar", "desk")


def test_a_list_of_many_steps_is_told_to_its_end():
    steps = ", ".join(f"{count} a day for 7 days" for count in range(9, 0, -1))
    said = Teller(ARABIC).told(f"Dexamethasone 0.1%, right eye: {steps}.")
    assert "day" not in said
    assert said.count(ARABIC.ngettext("%(num)s day", "%(num)s days", 7) % {"num": 7}) == 9


def test_titles_and_reasons_in_one_text_are_told_one_by_one(told):
    assert told("not seen; late. as planned.") == "[[not seen]; [late]]. [as planned]."


@pytest.mark.parametrize("signed", ["2+", "0.5+", "71-72", "2027-13-45"])
def test_grades_and_ranges_keep_their_order_among_arabic_words(signed):
    for text in (f"{signed} x", f"x {signed}"):
        assert f"\u2066{signed}\u2069" in upright(text, LANGUAGES["ar"])
        assert upright(text, FRENCH) == text


def test_a_source_is_cited_as_it_is(told):
    said = Teller(ARABIC).told("Source: Wielders, J Cataract Refract Surg 2018;44:429 (P: from memory).")
    assert "\u2068Wielders, J Cataract Refract Surg 2018;44:429\u2069" in said


def test_the_states_of_visits_are_told_in_the_words_of_the_pages(told):
    assert told("fulfilled") == "[seen]"


@pytest.mark.parametrize(
    "text",
    [
        "In this record: no quiet eye that rises on steroid; no event at surgery; no uveitis.",
        "If you sign: Ofloxacin 0.3% 8 a day for 7 days from 9 March 2027, then 6 for 7 days, then 5 for 1"
        " day; last day 23 March 2027, 2 days later.",
        "(added by \u2068Ñ\u2069)",
        "(changed by \u2068Ñ\u2069)",
    ],
)
def test_several_facts_and_steps_in_a_row_leave_no_english_word(text):
    """ "rises on steroid" was read as a day on which something is; "then 6 for 7 days" stayed English."""
    said = Teller(ARABIC).told(text).replace("Ofloxacin", "")
    assert not re.search("[A-Za-z]{2,}", said), said


def test_an_answer_that_changes_nothing_is_told_without_an_english_word():
    said = Teller(ARABIC).told("The answer on the pupil-widening drop changes nothing in the right eye.")
    assert not re.search("[A-Za-z]{2,}", said), said
