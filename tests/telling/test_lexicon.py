"""Every lexicon tells only what the record can hold, in every language."""

from __future__ import annotations

from typing import get_args

import pytest

from followup.clinical.record.fields import held, leads
from followup.clinical.record.operation import SteroidGiven
from followup.telling.lexicon import languages, lexicon_of
from followup.telling.phrases import ELSEWHERE

GROUPS = ("eye", "eye.uveitis", "eye.herpetic_keratitis")


def _can_hold(field: str, value: object) -> bool:
    if field.startswith("drug."):
        part = field.removeprefix("drug.")
        allowed = SteroidGiven.model_fields[part].annotation if part in ("form", "purpose", "fate") else None
        return allowed is None or any(value in get_args(kind) for kind in get_args(allowed))
    return leads(field) and all(
        held(field).can_be(one) for one in (value if isinstance(value, tuple) else (value,))
    )


@pytest.mark.parametrize("tag", languages())
def test_a_lexicon_tells_only_what_the_record_can_hold(tag):
    lexicon = lexicon_of(tag)
    wrong = [
        (one.field, value)
        for one in lexicon.says
        if one.field not in GROUPS
        for value in (one.value, one.denied)
        if value is not None and not _can_hold(one.field, value)
    ]
    assert wrong == []
    assert [
        one.field
        for one in lexicon.amounts
        if one.field and not one.field.startswith("drug.") and not leads(one.field)
    ] == []
    assert [one.what for one in lexicon.elsewhere if one.what not in ELSEWHERE] == []


@pytest.mark.parametrize("tag", languages())
def test_no_word_that_denies_or_counts_or_names_a_side_is_heard_in_another(tag):
    lexicon = lexicon_of(tag)
    assert not lexicon.guarded & lexicon.sounds
    assert not [words for words in lexicon.heard if len(words) == 1 and words[0] in lexicon.guarded]


def test_a_language_without_a_lexicon_is_no_language_here():
    with pytest.raises(KeyError):
        lexicon_of("xx")
    assert set(languages()) == {"en", "fr"}
