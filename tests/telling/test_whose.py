"""Whose, which eye's and of when a sentence is: told as surgeons talk, common practice, no source (C)."""

from __future__ import annotations

import pytest

from followup.telling.lexicon import lexicon_of
from followup.telling.reading import read_telling

ENGLISH = lexicon_of("en")


def read(text: str, field: str) -> object:
    """What a telling of a right eye that holds ``text`` says of a field; "asked" where it is doubtful."""
    found = read_telling(f"Right phaco. {text}", ENGLISH, "right").told(f"operation.{field}")
    return found and ("asked" if found.kind == "doubtful" else found.value)


@pytest.mark.parametrize(
    ("text", "field", "value"),
    [
        ("This man had sub-Tenon, the last one had the peribulbar.", "anaesthesia", "asked"),
        ("The last one needed three nylons; here no stitch.", "stitches", 0),
        ("No patch on her, the other eye does not see.", "pad", "asked"),
        ("I would have stained the capsule, had it been white.", "capsule_stain", None),
        ("I tell the students to put the lens in the bag.", "lens", "asked"),
        ("Sub-Tenon first; it wore off, so a peribulbar on top.", "anaesthesia", "asked"),
        ("Moxifloxacin into the chamber, I think, ask scrub.", "antibiotic_in_chamber", "asked"),
        ("One nylon in the wound, no, I took that out again.", "stitches", "asked"),
        ("Two nylon sutures or maybe three.", "stitches", "asked"),
        ("Pad for the journey, he takes it off at bedtime.", "pad", "asked"),
        ("The posterior capsule stayed hole.", "capsule_torn", "asked"),
        ("Air was put in and let out again.", "air_or_gas", "asked"),
        ("No need to convert to SICS.", "procedure", "phacoemulsification"),
        ("Manual small incision was planned, and that is what she got.", "procedure", "asked"),
    ],
)
def test_what_may_be_of_another_or_of_another_time_is_asked_and_the_rest_is_read(text, field, value):
    assert read(text, field) == value


@pytest.mark.parametrize(
    ("text", "eye", "code"),
    [
        ("Now it was the left one's turn: phaco, 21 in the bag.", "right", "another eye"),
        ("Left phaco, the right one comes next month.", "right", "another eye"),
        (
            "First the left: phaco, 2.2, lens 21 in the bag. Then the right: lens 20 in the bag.",
            "left",
            "both eyes",
        ),
        (
            "Right eye. Phaco was in 2019, in the bag. Today a pars plana vitrectomy, gas.",
            "right",
            "another operation",
        ),
    ],
)
def test_another_eye_by_its_turn_or_another_operation_now_is_refused(text, eye, code):
    refused = read_telling(text, ENGLISH, eye).refused
    assert refused is not None
    assert refused.code == code


def test_the_eye_of_the_last_time_is_not_the_eye_of_today():
    text = "Her right eye tore last time, so today I was careful with the left. Phaco, lens in the bag."
    assert read_telling(text, ENGLISH, "left").read["operation.lens"] == "bag"


@pytest.mark.parametrize(
    ("text", "field", "value"),
    [
        ("Start fourteen twenty, finish fifteen oh five.", "start", "14:20"),
        ("Start fourteen twenty, finish fifteen oh five.", "end", "15:05"),
        ("Started 9.15, over 9.31.", "start", "09:15"),
        ("Lens minus 3.0 dioptres in the bag.", "lens_power", -3),
        ("Wound 6 millimetres and a half.", "cut_mm", 6.5),
        ("Incision two point for millimetres.", "cut_mm", "asked"),
        ("Lens in the bag, twenty too dioptres.", "lens_power", "asked"),
        ("Phaco, topical, 2.4, rhexis 5.", "cut_mm", "asked"),
        ("Toric axis one oh five degrees.", "toric_axis", 105),
    ],
)
def test_figures_as_they_are_said_and_heard(text, field, value):
    assert read(text, field) == value


@pytest.mark.parametrize(
    ("text", "field", "value"),
    [
        ("Sub ten ons block.", "anaesthesia", "sub-Tenon"),
        ("Visco-elastic all removed.", "viscoelastic.removed", "all"),
        ("Visco elastic all removed.", "viscoelastic.removed", "all"),
        ("Cap sulor hexis complete.", "capsulorhexis_whole", True),
        ("Moxie flocks a sin into the anti rear chamber.", "antibiotic_in_chamber", "asked"),
    ],
)
def test_a_word_of_the_trade_is_heard_in_its_pieces_and_a_guess_is_asked(text, field, value):
    assert read(text, field) == value


@pytest.mark.parametrize(
    ("text", "field", "value"),
    [
        ("Air was put in the chamber and escaped, so none is in there.", "air_or_gas", "asked"),
        ("Four nylon stitches; one was cheese-wiring, so the assistant cut it out.", "stitches", "asked"),
        ("Two nylon stitches, and a third at the side port.", "stitches", "asked"),
        ("Bandage lens on, it came off under the drape.", "bandage_lens", "asked"),
        ("Along the main wound a scar of 3 mm.", "cut_mm", "asked"),
        ("The chamber was shallow at first.", "chamber", "asked"),
        ("Bandage lens box empty, so without it.", "bandage_lens", "asked"),
        ("Iris, perhaps bleeding, torn.", "bleeding", "asked"),
    ],
)
def test_what_the_next_words_take_out_add_to_or_tie_to_another_thing_is_asked(text, field, value):
    assert read(text, field) == value


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ("I went in with the 2.4 from the side.", "cut_mm"),
        ("We chose 22.5 D for him.", "lens_power"),
        ("Four iris hooks. Six across with them.", "pupil_after_mm"),
    ],
)
def test_a_figure_of_nothing_asks_what_was_not_told_and_has_mostly_that_size(text, field):
    assert read(text, field) == "asked"


def test_a_figure_of_nothing_asks_no_field_that_was_told():
    assert read("Incision 2.8. I like the 2.4 from the side.", "cut_mm") != 2.4
    assert read("I waited 2.4 minutes.", "cut_mm") is None
