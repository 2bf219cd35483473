"""The catalogues: complete, in step with the code, and safe to fill with numbers and names."""

from __future__ import annotations

import io
import re

import pytest
from babel import Locale
from babel.messages.mofile import read_mo, write_mo
from babel.messages.pofile import read_po

from followup.errors import FollowupError
from followup.language import catalogue_files
from followup.language.catalogue_files import messages_of
from followup.language.catalogues import Review, choose, offered, translator
from followup.language.extraction import sheet_messages
from followup.language.languages import LANGUAGES
from followup.resources import folder

PLACEHOLDER = re.compile(r"%\((\w+)\)s|\{(\w+)\}")
tags = pytest.mark.parametrize("tag", LANGUAGES)


def _po(tag: str):
    with (folder("locales") / tag / "LC_MESSAGES" / "sheet.po").open("rb") as file:
        return read_po(file, locale=tag)


def _key(message):
    return (message.context, message.id[0] if message.pluralizable else message.id)


def _forms(message) -> list[str]:
    return list(message.string) if message.pluralizable else [message.string]


@tags
def test_a_catalogue_holds_exactly_the_messages_of_the_code(tag):
    in_code = {_key(m) for m in sheet_messages() if m.id}
    in_catalogue = {_key(m) for m in _po(tag) if m.id}
    assert in_code - in_catalogue == set(), "in the code, not in the catalogue"
    assert in_catalogue - in_code == set(), "in the catalogue, not in the code"
    assert len(in_code) > 120


@tags
def test_every_message_is_translated_in_every_plural_form(tag):
    for message in (m for m in _po(tag) if m.id):
        forms = _forms(message)
        assert not message.fuzzy, message.id
        assert all(form.strip() for form in forms), message.id
        assert len(forms) == (len(LANGUAGES[tag].categories) if message.pluralizable else 1)


@tags
def test_every_form_keeps_every_placeholder(tag):
    for message in (m for m in _po(tag) if m.id):
        sources = list(message.id) if message.pluralizable else [message.id]
        wanted = {frozenset(PLACEHOLDER.findall(text)) for text in sources}
        assert len(wanted) == 1, f"the source itself differs: {message.id}"
        for form in _forms(message):
            assert sorted(PLACEHOLDER.findall(form)) == sorted(PLACEHOLDER.findall(sources[0])), form


@tags
def test_a_percent_sign_is_a_placeholder_or_doubled(tag):
    for message in (m for m in _po(tag) if m.id):
        for form in _forms(message):
            assert "%" not in PLACEHOLDER.sub("", form).replace("%%", ""), form


@tags
def test_numbers_in_a_sentence_stay_the_same_in_latin_digits(tag):
    for message in (m for m in _po(tag) if m.id):
        source = message.id[0] if message.pluralizable else message.id
        numbers = re.findall(r"\d+", PLACEHOLDER.sub("", source))
        for form in _forms(message):
            text = PLACEHOLDER.sub("", form)
            digits = [n for n in re.findall(r"\d+", text) if n.isascii()]
            assert not re.search(r"[^\x00-\x7f]", "".join(re.findall(r"\d", text))), form
            assert [n for n in numbers if n not in digits] == [], form


@tags
def test_no_message_carries_markup(tag):
    for message in (m for m in _po(tag) if m.id):
        assert not any(re.search(r"[<>&]", form) for form in _forms(message)), message.id


@tags
def test_the_header_names_our_own_plural_rule_and_no_reviewer(tag):
    text = (folder("locales") / tag / "LC_MESSAGES" / "sheet.po").read_text("utf-8")
    assert f'"Plural-Forms: {LANGUAGES[tag].plural_forms}\\n"' in text
    # No translation of ours has a reviewer; one is named only by a clinic's own reader.
    assert "X-Review" not in text


@tags
def test_no_two_messages_are_translated_alike_where_the_source_differs_in_the_eye(tag):
    words = translator(tag)
    assert len({words.gettext(m) for m in ("Left eye", "Right eye", "Both eyes")}) == 3


def test_unreviewed_translations_are_drafts_and_english_is_the_source():
    assert translator("en").review == Review("source")
    assert not translator("en").is_draft
    assert all(translator(tag).is_draft for tag in LANGUAGES if tag != "en")
    assert translator("ar-EG").review == Review("draft")


def test_compiling_keeps_every_message():
    for tag in LANGUAGES:
        compiled = io.BytesIO()
        write_mo(compiled, _po(tag))
        compiled.seek(0)
        assert messages_of(read_mo(compiled)) == translator(tag).messages


def test_a_message_without_words_is_an_error_and_not_english():
    with pytest.raises(FollowupError, match="no Bengali words for 'Nobody wrote this'"):
        translator("bn").gettext("Nobody wrote this")


def test_counted_messages_take_the_right_arabic_form():
    words = translator("ar")
    told = [
        words.ngettext("%(count)s time a day", "%(count)s times a day", n) % {"count": n}
        for n in (1, 2, 4, 16)
    ]
    assert told == ["مرة واحدة يوميًا (1)", "مرتين يوميًا (2)", "4 مرات يوميًا", "16 مرة يوميًا"]


def test_a_language_without_a_catalogue_prints_english_and_says_so():
    choice = choose("so")
    assert choice.language.tag == "en"
    assert choice.missing == "Somali"
    assert choice.notice is not None
    assert "Somali" in choice.notice


def test_a_region_does_not_hide_a_language_and_an_unknown_tag_is_named():
    assert choose("bn-BD").language.tag == "bn"
    assert choose("bn-BD").notice is None
    assert choose("qqq").missing == "qqq"
    with pytest.raises(FollowupError, match="no sheet language 'so'"):
        translator("so")


def test_a_missing_catalogue_is_an_error_and_an_incomplete_one_is_not_offered(tmp_path, monkeypatch):
    for tag in ("en", "bn"):
        target = tmp_path / tag / "LC_MESSAGES" / "sheet.po"
        target.parent.mkdir(parents=True)
        text = (folder("locales") / tag / "LC_MESSAGES" / "sheet.po").read_text("utf-8")
        if tag == "bn":
            text = text.replace("বাঁ চোখ", "")
        target.write_text(text, "utf-8")
    monkeypatch.setattr(catalogue_files, "folder", lambda name: tmp_path)
    assert [spoken.tag for spoken in offered()] == ["en"]
    with pytest.raises(FollowupError, match=r"1 messages lack Bengali words, first 'Left eye'"):
        translator("bn")
    with pytest.raises(FollowupError, match="there is no Arabic catalogue"):
        translator("ar")
    assert choose("bn").missing == "Bengali"


def test_every_language_is_offered_under_its_own_name():
    names = {spoken.tag: spoken.native for spoken in offered()}
    assert list(names) == list(LANGUAGES)
    # CLDR's names of languages in themselves, as Babel carries them.
    assert {tag: Locale.parse(tag).get_language_name(tag).casefold() for tag in names} == {
        tag: name.casefold() for tag, name in names.items()
    }


def test_the_desk_speaks_its_english_source_without_a_catalogue():
    assert translator("en", "desk").ngettext("one bottle", "many bottles", 3) == "many bottles"
