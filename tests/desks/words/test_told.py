"""Sentences as values: English by themselves, in the language of the page by their template."""

from __future__ import annotations

import json
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from followup.care.fields.place import FormPlace
from followup.clinical.english import capital, counted, day_words, joined, listed, sentence, steps_words
from followup.desks.words.extraction import DESK_LANGUAGES, desk_messages
from followup.desks.words.told import Teller, upright
from followup.errors import FollowupError
from followup.language.catalogues import Review, Translator, translator
from followup.language.languages import LANGUAGES
from followup.said import (
    SENTENCES,
    Cited,
    Said,
    SaidText,
    Sentence,
    as_data,
    as_text,
    fill,
    of_data,
    of_text,
    say,
)
from followup.typed import typed

FRENCH, ARABIC = LANGUAGES["fr"], translator("ar", "desk")


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
def told():
    return Teller(_mirror()).told


# ---- what a sentence is ------------------------------------------------------------------------------
def test_a_sentence_is_its_english_and_remembers_its_template_and_values():
    said = say("the code {code} is already in use", code="K-104")
    assert said == "the code K-104 is already in use"
    assert isinstance(said, Sentence)
    assert (said.template, dict(said.values)) == ("the code {code} is already in use", {"code": "K-104"})


@pytest.mark.parametrize(
    ("said", "english"),
    [
        (day_words(date(2024, 2, 29)), "29 February 2024"),
        (say("not before {day}", day=date(2027, 3, 8)), "not before 2027-03-08"),
        (counted(1, "day", "days"), "1 day"),
        (counted(3, "day", "days"), "3 days"),
        (counted(0, "drop", "drops"), "0 drops"),
        (listed([]), ""),
        (listed(["a"]), "a"),
        (listed(["a", "b"]), "a and b"),
        (listed(["a", "b", "c"], "or"), "a, b or c"),
        (joined(["One.", "Two."]), "One. Two."),
        (joined(["", "two"]), " two"),
        (sentence("the wound leaks"), "The wound leaks."),
        (sentence("Does it leak?"), "Does it leak?"),
        (capital("half a tablet"), "Half a tablet"),
        (steps_words(((4, 7), (3, 1))), "4 a day for 7 days, 3 a day for 1 day"),
        (fill(say("{label}: at most {count}", label="A"), count=3), "A: at most 3"),
        (fill("{label}: at most {count}", label="A"), "A: at most {count}"),
        (Cited("Peck 2021"), "Peck 2021"),
    ],
)
def test_every_kind_is_read_as_plain_english(said, english):
    assert said == english
    assert str(said) == english
    assert json.loads(json.dumps(said)) == english


# ---- kept ------------------------------------------------------------------------------------------------
TEXTS = st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="\x1d"), max_size=12)
KINDS = st.recursive(
    st.one_of(
        TEXTS,
        st.dates(date(2020, 1, 1), date(2030, 1, 1)).map(day_words),
        st.tuples(st.integers(0, 40), st.just("day"), st.just("days")).map(lambda of: counted(*of)),
        TEXTS.map(Cited),
    ),
    lambda inner: st.one_of(
        st.tuples(inner, inner).map(lambda two: say("{first}, not {last}", first=two[0], last=two[1])),
        st.lists(inner, max_size=4).map(listed),
        st.lists(inner, max_size=3).map(joined),
        inner.map(sentence),
        inner.map(capital),
    ),
    max_leaves=8,
)


@given(KINDS)
def test_a_sentence_comes_back_from_json_and_from_a_column_as_it_was_made(said):
    for again in (of_data(json.loads(json.dumps(as_data(said)))), of_text(as_text(said))):
        assert again == said
        assert type(again) is type(said)
        assert as_data(again) == as_data(said)


def test_a_typed_text_that_looks_like_a_stored_sentence_stays_a_text():
    made = as_text(say("the {eye} eye", eye="left"))
    assert isinstance(of_text(made), Sentence)
    typed_over = of_text(as_text(str.__str__(made)))
    assert type(typed_over) is str
    assert typed_over == made.replace("\x1d", "")


class _Kept(BaseModel):
    text: SaidText
    more: tuple[SaidText, ...] = ()


def test_a_model_says_its_english_to_programs_and_keeps_the_sentence_where_it_is_stored():
    kept = _Kept(text=say("the {eye} eye", eye="left"), more=("plain", counted(2, "day", "days")))
    assert kept.model_dump() == {"text": "the left eye", "more": ("plain", "2 days")}
    assert json.loads(kept.model_dump_json()) == {"text": "the left eye", "more": ["plain", "2 days"]}
    again = _Kept.model_validate_json(kept.model_dump_json(context=SENTENCES), context=SENTENCES)
    assert again == kept
    assert isinstance(again.text, Sentence)
    assert isinstance(again.more[1], Said)
    assert type(again.more[0]) is str


def test_nobody_outside_hands_in_a_sentence_of_ours():
    """What a form or a file says is text: a template in it would be told as if it were the program's own."""
    with pytest.raises(ValidationError):
        _Kept.model_validate_json('{"text": {"say": ["{eye} eye", {"eye": "left"}]}}')
    with pytest.raises(ValidationError):
        _Kept.model_validate_json('{"text": {"strange": 1}}', context=SENTENCES)


def test_a_plan_of_before_is_read_as_it_is_and_its_english_is_shown(told):
    old = _Kept.model_validate_json('{"text": "The last day is 16 March 2027."}', context=SENTENCES)
    assert old.text == "The last day is 16 March 2027."
    assert told(old.text) == old.text


# ---- told --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("said", "in_brackets"),
    [
        (say("the code {code} is already in use", code="K-104"), "[the code K-104 is already in use]"),
        (say("the {eye} eye was not operated on", eye="left"), "[the [left] eye was not operated on]"),
        (say("the {eye} eye was not operated on", eye=typed("left")),
         "[the \u2068left\u2069 eye was not operated on]"),
        (say("The last day is {last_day}.", last_day=day_words(date(2027, 3, 16))),
         "[The last day is mardi 16 mars 2027.]"),
        (say("this visit is not before {window_start}", window_start=date(2027, 3, 8)),
         "[this visit is not before lundi 8 mars 2027]"),
        (counted(7, "day", "days"), "[7 days]"),
        (joined(["What was not seen never counts as normal.", "Who?"]),
         "[What was not seen never counts as normal.] Who?"),
        (joined(["low", "high"], "; "), "[[low]; [high]]"),
        (listed(["low", "middle", "high"]), "[[[low], [middle]] and [high]]"),
        (Cited("low"), "low"),
        ("low", "[low]"),
        ("zxq, something that nobody wrote", "zxq, something that nobody wrote"),
        ("fulfilled", "[seen]"),
        ("16 March 2027", "16 March 2027"),
    ],
)  # fmt: skip
def test_a_sentence_is_told_by_its_template_and_its_values_each_in_its_way(told, said, in_brackets):
    assert told(said) == in_brackets


def test_a_sentence_of_its_own_begins_with_a_capital_in_its_language():
    assert Teller(translator("fr", "desk")).told(sentence("once a day")) == "Une fois par jour."


def test_an_error_is_told_part_by_part(told):
    error = FollowupError(
        "plan.none", say("no such plan"), where=say("rounds"), fix=say("open the newest version")
    )
    assert told(error.line) == "[rounds]: [no such plan] - [open the newest version]"


def test_a_place_in_the_record_is_told_label_by_label(told):
    place = FormPlace.of([("Allergies", 2), ("Reaction", None)])
    assert place == "Allergies 2, Reaction"
    assert told(place) == "[Allergies] 2, [Reaction]"


def test_english_is_never_touched():
    said = say("this visit is not before {window_start}", window_start=date(2027, 3, 8))
    assert Teller(translator("en", "desk")).told(said) == "this visit is not before 2027-03-08"


@given(KINDS)
def test_a_message_that_is_missing_says_that_one_in_english_and_loses_nothing(said):
    silent = Translator(FRENCH, "desk", Review(), {})
    assert isinstance(Teller(silent).told(said), str)
    plain = say("{count} of {medicine}", count=3, medicine=typed("Ñ"))
    assert Teller(silent).told(plain) == "3 of \u2068Ñ\u2069"


def test_the_languages_of_the_house_are_languages_of_the_desks():
    assert {"en", "fr", "hi", "bn", "ar"} <= set(DESK_LANGUAGES)


def test_a_list_of_many_steps_is_told_to_its_end():
    said = Teller(ARABIC).told(steps_words((count, 7) for count in range(9, 0, -1)))
    assert "day" not in said
    assert said.count(ARABIC.ngettext("%(num)s day", "%(num)s days", 7) % {"num": 7}) == 9


@pytest.mark.parametrize("signed", ["2+", "0.5+", "71-72", "2027-13-45"])
def test_grades_and_ranges_keep_their_order_among_arabic_words(signed):
    for text in (f"{signed} x", f"x {signed}"):
        assert f"\u2066{signed}\u2069" in upright(text, LANGUAGES["ar"])
        assert upright(text, FRENCH) == text


def test_a_source_is_cited_as_it_is_among_words_of_the_other_direction():
    said = say("Source: {source} ({mark}: {quality}).", source=Cited("Peck 2021"), mark="P", quality="x")
    assert "\u2068Peck 2021\u2069" in Teller(ARABIC).told(said)
