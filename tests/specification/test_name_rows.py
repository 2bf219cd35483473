"""Free words about allergies and operations, read as the rows of the specification say."""

from __future__ import annotations

from typing import Any

import pytest
from look_cases import DAY0, record_of, sample
from specification import cases_of, chapters

from followup.clinical.plan.build import build_plan

(ROWS,) = (chapter.rows for chapter in chapters() if chapter.file == "names")


def _lists(start: str, end: str) -> list[Any]:
    """The lists of words that rows claim, each with what stands between these two parts of its address."""
    found = [
        pytest.param(address[len(start) : len(address) - len(end)], words, id=row.situation)
        for row in ROWS
        for address, words in row.claims.items()
        if address.startswith(start) and address.endswith(end)
    ]
    assert found, f"no row holds {start}"
    return found


@pytest.mark.parametrize(("class_", "names"), _lists("names.class.", ".names"))
def test_every_name_of_a_class_is_read_as_that_class(class_, names):
    known = sample().cautions.names
    for name in names:
        for written in (name, name.upper(), f"rash after {name}s"):
            read = known.read(written)
            assert [class_ in one.classes for one in read.named] == [True], f'"{written}": {read}'


@pytest.mark.parametrize(("reaction", "words"), _lists("names.reaction.", ".words"))
def test_every_word_for_a_reaction_is_read_as_that_reaction(reaction, words):
    known = sample().cautions.names
    for word in words:
        for written in (f"penicillin {word}", f"{word.upper()} after penicillin", f"penicillin; {word}"):
            (read,) = known.read(written).named
            assert read.reaction == reaction, f'"{written}": {read}'


@pytest.mark.parametrize(
    ("list_", "words"),
    [case for case in _lists("names.words", "") if case.values[0] in (".nothing", ".nothing_else", ".doubt")],
)
def test_words_that_say_none_no_other_or_doubt_are_read_so(list_, words):
    known = sample().cautions.names
    for word in words:
        alone, beside = known.read(word), known.read(f"{word} penicillin")
        if list_ == ".nothing":
            assert (alone.none, alone.unknown) == (True, ()), f'"{word}": {alone}'
            assert beside.unknown, f'an allergy and none at once is no question: "{word}"'
        elif list_ == ".nothing_else":
            assert (alone.none_else, alone.none, alone.unknown) == (True, False, ()), f'"{word}": {alone}'
        else:
            assert beside.unknown, f'what is doubtful is no question: "{word}"'


def test_words_that_say_nothing_of_a_medicine_are_left_out():
    known = sample().cautions.names
    ((_, words),) = (case.values for case in _lists("names.words", "") if case.values[0] == ".filler")
    for word in words:
        read = known.read(f"{word} penicillin")
        assert (len(read.named), read.unknown) == (1, ()), f'"{word}": {read}'


@pytest.mark.parametrize("case", cases_of("names"))
def test_a_text_about_allergies_is_read_as_its_row_says(case):
    read = sample().cautions.names.read(case["text"])
    told = [f"{' '.join(one.classes)}: {one.reaction}" for one in read.named]
    if "named" in case:
        assert (told, read.unknown) == (case["named"], ())
    if "unknown" in case:
        assert list(read.unknown) == case["unknown"]
    assert read.none is case.get("none", "unknown" in case and "none" in case["text"])


def _asked(text: str, field: str) -> set[str]:
    earlier = field.startswith("eye.after_earlier_operation.")
    case: dict[str, Any] = {"eye": {"after_earlier_operation": {"note": text}}} if earlier else {}
    case |= {} if earlier else {"operation": {"free_text": text}, "untold": ["antibiotic_in_chamber"]}
    return {q.id for q in build_plan(record_of(case), sample(), as_of=DAY0).questions}


@pytest.mark.parametrize(("field", "words"), _lists("names.field.", ".words"))
def test_words_for_what_the_record_has_a_field_for_are_asked_about_where_it_does_not_agree(field, words):
    known = sample().cautions.names
    earlier = field.startswith("eye.after_earlier_operation.")
    (one,) = (told for told in (known.earlier_fields if earlier else known.fields) if told.field == field)
    for word in words:
        mention = known.mention(one, f"There was {word} today")
        assert mention is not None, f'"{word}" is not found'
        assert not mention.denied, f'"{word}" reads as denied'
    question = f"in-words-{field.replace('.', '-').replace('_', '-')}"
    assert question in _asked(f"There was {words[0]}", field), f"{words[0]} is not asked about"


def test_a_word_that_is_denied_is_read_as_its_opposite():
    known = sample().cautions.names
    ((_, words),) = (case.values for case in _lists("names.words", "") if case.values[0] == ".denial")
    (torn,) = (told for told in known.fields if told.field == "operation.capsule_torn")
    for word in words:
        mention = known.mention(torn, f"{word} torn capsule")
        assert mention is not None
        assert mention.denied, f'"{word} torn capsule" reads as a torn capsule'
