"""The staff's pages in their languages: nothing missing, nothing left over, nothing lost in translation."""

from __future__ import annotations

import pytest

from followup.desks.words.extraction import DESK_LANGUAGES, desk_messages
from followup.desks.words.texts import Texts, desk_translator
from followup.language import catalogues
from followup.language.catalogue_files import Loaded, english, key_of, shipped
from followup.language.catalogues import Review, offered, translator, wanted_messages
from followup.language.checks import flaws
from followup.language.languages import LANGUAGES

# Those of which hardly a message may lack its words.
COMPLETE = {"fr", "hi", "bn", "ar"}
OTHERS = [tag for tag in DESK_LANGUAGES if tag != "en"]


@pytest.fixture(scope="module")
def said() -> dict[tuple[str | None, str], tuple[str, ...]]:
    """Every message that the program can say to its staff, found in the source."""
    return {key_of(message): english(message) for message in desk_messages() if message.id}


def test_the_english_list_is_what_the_source_says(said):
    listed = wanted_messages("desk")
    assert said.keys() - listed.keys() == set(), "run: python locales/update_catalogues.py"
    assert listed.keys() - said.keys() == set(), "run: python locales/update_catalogues.py"


def test_the_desks_speak_each_of_their_languages():
    assert {language.tag for language in offered("desk")} == set(DESK_LANGUAGES)


@pytest.mark.parametrize("tag", OTHERS)
def test_a_message_with_words_has_them_in_every_plural_form_and_hardly_one_has_none(said, tag):
    """What has no words yet is told in English, and named by ``followup language check``; a language that
    was begun may lack most."""
    found = shipped(LANGUAGES[tag], "desk")
    assert found is not None
    forms = {key: len(LANGUAGES[tag].categories) if len(source) > 1 else 1 for key, source in said.items()}
    assert {key: len(words) for key, words in found.messages.items()}.items() <= forms.items()
    assert tag not in COMPLETE or len(found.messages) >= 0.97 * len(said)


@pytest.mark.parametrize("tag", OTHERS)
def test_no_translation_lost_or_gained_a_value_a_number_a_side_or_a_no(said, tag):
    found = shipped(LANGUAGES[tag], "desk")
    assert found is not None
    named = [
        f"{key[1]}: {flaw}"
        for key, forms in found.messages.items()
        for flaw in flaws(said[key], forms, LANGUAGES[tag])
    ]
    assert named == []


@pytest.mark.parametrize("tag", OTHERS)
def test_hardly_a_sentence_is_left_in_english(said, tag):
    """Signs, names and abbreviations may be the same; a sentence of several words may not."""
    words = translator(tag, "desk")
    same = {key[1] for key in said if words.messages.get(key) == (key[1],)}
    assert {text for text in same if sum(w.isalpha() and len(w) > 3 for w in text.split()) > 1} == set()


@pytest.mark.parametrize("tag", OTHERS)
@pytest.mark.parametrize("count", [0, 1, 2, 3, 11, 100])
def test_a_counted_sentence_keeps_its_number(tag, count):
    words = desk_translator(tag)
    said = words.ngettext("%(num)s drop", "%(num)s drops", count) % {"num": count}
    assert str(count) in said


def test_pages_run_from_right_to_left_in_arabic_alone():
    assert {tag: Texts(tag).direction for tag in DESK_LANGUAGES} == dict.fromkeys(DESK_LANGUAGES, "ltr") | {
        "ar": "rtl"
    }


def test_a_clinic_whose_language_the_desks_lack_reads_them_in_english():
    assert desk_translator("sw").language.tag == "en"


def test_a_message_without_words_is_english_alone_and_turns_nothing_else_off(monkeypatch):
    """The language and its direction stay; a message that lacks one form counts as one without words."""
    arabic, counted = LANGUAGES["ar"], (None, "%(num)s drop")
    whole = shipped(arabic, "desk")
    lacking = {key: forms for key, forms in whole.messages.items() if key != (None, "right eye")}
    lacking[counted] = whole.messages[counted][:2]
    monkeypatch.setattr(
        catalogues.files,
        "shipped",
        lambda spoken, domain: Loaded(lacking, Review()) if spoken == arabic else shipped(spoken, domain),
    )
    catalogues._translator.cache_clear()
    texts = Texts("ar")
    assert (texts.translator.language.tag, texts.direction) == ("ar", "rtl")
    assert texts.gettext("right eye") == "right eye"
    assert texts.gettext("left eye") == whole.messages[(None, "left eye")][0] != "left eye"
    assert texts.ngettext("%(num)s drop", "%(num)s drops", 3) == "%(num)s drops"
    assert "ar" in {language.tag for language in offered("desk")}
    catalogues._translator.cache_clear()
