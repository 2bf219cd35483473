"""What a told operation is read as: denial, hedges, amounts and what is left over."""

from __future__ import annotations

import pytest

from followup.telling.lexicon import lexicon_of
from followup.telling.reading import read_telling

ENGLISH = lexicon_of("en")


def test_a_denied_event_is_read_as_no_and_its_words_stand_in_the_text() -> None:
    telling = read_telling("Capsule intact, no vitreous loss.", ENGLISH)
    assert telling.read["operation.vitreous_lost"] is False
    told = telling.told("operation.vitreous_lost")
    assert told is not None
    assert [place.of(telling.text) for place in told.words] == ["vitreous loss"]


def test_a_hedge_is_asked_with_both_answers() -> None:
    told = read_telling("Possible vitreous loss.", ENGLISH).told("operation.vitreous_lost")
    assert told is not None
    assert (told.kind, told.value, told.why) == ("doubtful", None, "hedged")
    assert {choice.value for choice in told.choices} == {True, False}


@pytest.mark.parametrize(
    ("text", "mm"), [("2.4 mm incision", 2.4), ("incision two point eight mm", 2.8), ("cut of 2,2mm", 2.2)]
)
def test_a_figure_is_read_in_digits_and_in_words(text: str, mm: float) -> None:
    assert read_telling(text, ENGLISH).read["operation.cut_mm"] == mm


@pytest.mark.parametrize(
    ("text", "code"), [("  \n ", "empty"), ("phaco\x07", "control"), ("phaco " * 200_000, "too long")]
)
def test_what_is_no_telling_is_refused_in_one_line(text: str, code: str) -> None:
    telling = read_telling(text, ENGLISH)
    assert telling.refused is not None
    assert telling.refused.code == code
    assert not telling.fields
