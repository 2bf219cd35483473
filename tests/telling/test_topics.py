"""What is spoken of in words that no phrase knows is asked; what is told seldom is read only from a sentence
that is understood; what may be no told operation is asked. Surgeons' talk: common practice, no source (C)."""

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


def found(text: str, field: str) -> FieldTold:
    one = told(text, field)
    assert one is not None
    return one


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
    one = found(text, field)
    assert one.kind == "doubtful"
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
    one = found("No leak. The edges stay as sealed as they were.", "watertight")
    assert one.value is True


def test_a_figure_is_asked_only_within_the_bounds_of_its_topic() -> None:
    pupil = "The pupil, by the reckoning of the sister at the very foot of her chart in pencil, {}."
    asked = found(pupil.format("4.5"), "pupil_before_mm")
    assert [one.value for one in asked.choices] == [4.5]
    assert told(pupil.format("45.5"), "pupil_before_mm") is None


SELDOM = "There was a burn"


def test_what_is_told_seldom_is_read_only_where_its_sentence_is_understood() -> None:
    plain = found(f"{SELDOM} of the wound.", "wound_burn")
    clouded = found(f"{SELDOM} of the wound, the registrar swore, by lunchtime.", "wound_burn")
    assert plain.value is True
    assert (clouded.kind, clouded.why) == ("doubtful", "more")
    assert clouded.choices[0].value is True


def test_what_nearly_every_operation_tells_is_read_from_any_sentence() -> None:
    one = found("The 2.4 mm incision, the registrar swore, by lunchtime.", "cut_mm")
    assert one.value == 2.4


def test_a_round_opening_in_the_capsule_says_nothing_of_the_lens() -> None:
    assert told("The opening in the capsule is round.", "lens") is None


def test_a_number_of_things_is_no_size() -> None:
    counted = found("There were two little adhesions at the pupil.", "pupil_before_mm")
    assert counted.value is None
    one = found("Pupil 4.", "pupil_before_mm")
    assert one.value == 4


def test_a_place_that_is_denied_is_asked_and_never_where_a_medicine_went() -> None:
    one = found("The antibiotic into the chamber was not done.", "antibiotic_in_chamber")
    assert one.value is not True


def test_signs_that_are_said_aloud_end_sentences() -> None:
    text = "right phaco full stop no leak full stop no pad comma no stitch full stop next patient please"
    told_so = {"operation.watertight": True, "operation.pad": False, "operation.stitches": 0}
    assert told_so.items() <= read_telling(text, ENGLISH, "right").read.items()


def test_a_single_sign_said_may_be_a_word() -> None:
    one = told("No period of leak was seen.", "watertight")
    assert one is None or one.value is not False


REPORT = (
    "Report of operation. It was planned to perform phacoemulsification of the right lens. An incision of "
    "2.8 mm and the rhexis, 5 mm, were made. The nucleus was emulsified. The lens was placed in the bag."
)


def test_a_text_that_may_be_none_but_tells_its_steps_as_done_is_asked_and_not_refused() -> None:
    telling = read_telling(REPORT, ENGLISH, "right")
    assert telling.refused is None
    assert len(telling.fields) >= 4
    assert telling.read == {}


def test_where_only_another_operation_is_named_everything_is_asked() -> None:
    text = (
        "Left DMEK, pseudophakic since 2023, lens in the bag. Sub-Tenon block. A 2.4 mm incision. "
        "The graft was stained with trypan blue. One nylon stitch. Cefuroxime in the chamber. Pupil 4 mm. "
        "Viscoelastic all out. Watertight. Pad."
    )
    assert read_telling(text, ENGLISH, "left").read == {}


def test_a_blind_other_eye_makes_no_telling_of_two() -> None:
    text = "Right eye only, the patient's left eye is blind from glaucoma. Phaco, lens in the bag, no leak."
    assert read_telling(text, ENGLISH, "right").refused is None


@pytest.mark.parametrize(
    "hedge",
    [", I am not sure.", ", not certain.", ". I am not sure of it.", ". I'm not certain that it is so."],
)
def test_a_hedge_that_holds_a_no_is_a_hedge(hedge: str) -> None:
    assert found(f"Capsule torn{hedge}", "capsule_torn").kind == "doubtful"


def test_no_hedge_is_a_pseudo_trigger_that_cancels_it() -> None:
    hedges = {phrase for kind, held in ENGLISH.cues.items() if kind.startswith("hedged") for phrase in held}
    assert hedges & set(ENGLISH.cues["pseudo"]) == set()


def test_an_operation_that_was_not_finished_is_one() -> None:
    assert found("We did not finish.", "halted").value is True
