"""What is spoken of in words that no phrase knows is asked, and what is told seldom is read only from a sentence
that is understood. Told as surgeons talk: common practice, no source (C)."""

from __future__ import annotations

import pytest

from followup.telling.lexicon import lexicon_of
from followup.telling.model import FieldTold, Telling
from followup.telling.reading import read_telling

ENGLISH = lexicon_of("en")


def read(text: str) -> Telling:
    """A telling of a right eye that holds ``text``."""
    return read_telling(f"Right phaco. {text}", ENGLISH, "right")


def told(text: str, field: str) -> FieldTold | None:
    return read(text).told(f"operation.{field}")


@pytest.mark.parametrize(
    ("text", "field", "choices"),
    [
        ("An injection beside the globe took care of the pain.", "anaesthesia", 6),
        ("The dressing comes off at the ward round.", "pad", 2),
        ("At the close nothing dripped.", "watertight", 2),
        ("The edges were plumped with saline.", "hydrated", 2),
        ("The capsule behind stays good.", "capsule_whole", 2),
        ("The pupil: nine, eight? No: 4.5, the nurse says.", "pupil_before_mm", 1),
        ("Some of the gel may be behind the optic.", "viscoelastic.removed", 2),
    ],
)
def test_what_is_spoken_of_in_unknown_words_is_asked(text: str, field: str, choices: int) -> None:
    one = told(text, field)
    assert one is not None and one.kind == "doubtful"
    assert len(one.choices) >= choices
    assert all(place.of(read(text).text) for place in one.words)


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ("The dressing would be left off.", "pad"),
        ("Previous dressing trouble.", "pad"),
        ("In the other eye the edges were plumped with saline.", "hydrated"),
        ("A contact lens covers the epithelium.", "pad"),
        ("Vitreous was lost, scratch that.", "vitreous_lost"),
        ("The pupil was as usual.", "pupil_before_mm"),
    ],
)
def test_nothing_is_asked_of_what_is_planned_past_another_eyes_or_taken_back(text: str, field: str) -> None:
    assert told(text, field) is None


def test_what_was_told_is_not_asked_again_by_its_topic() -> None:
    one = told("No leak. The edges stay as sealed as they were.", "watertight")
    assert one is not None and one.value is True


def test_a_figure_is_asked_only_within_the_bounds_of_its_topic() -> None:
    rhexis = "The rhexis, as the sister guessed and on her chart, {}."
    asked = told(rhexis.format("5.5"), "capsulorhexis_mm")
    assert asked is not None and [one.value for one in asked.choices] == [5.5]
    assert told(rhexis.format("25.5"), "capsulorhexis_mm") is None


SELDOM = "There was a burn"


def test_what_is_told_seldom_is_read_only_where_its_sentence_is_understood() -> None:
    plain = told(f"{SELDOM} of the wound.", "wound_burn")
    clouded = told(f"{SELDOM} of the wound, the registrar swore, by lunchtime.", "wound_burn")
    assert plain is not None and plain.value is True
    assert clouded is not None and clouded.kind == "doubtful" and clouded.choices[0].value is True


def test_what_nearly_every_operation_tells_is_read_from_any_sentence() -> None:
    one = told("The 2.4 mm incision, the registrar swore, by lunchtime.", "cut_mm")
    assert one is not None and one.value == 2.4
