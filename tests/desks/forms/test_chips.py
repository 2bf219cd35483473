"""Chips: pressed, not pressed, and "asked, none other"; no answer is invented and none is lost."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from followup.care.fields.values import read_form
from followup.clinical.record import Conditions
from followup.desks.forms.chips import allergy_chips, chip_group, completed
from followup.desks.forms.layout import ASKED_TOO, CHIPS, EYES, ILLNESSES

EYE = EYES[0]
ALL = f"none:{ILLNESSES}"


def test_every_chip_is_an_answer_of_yes_or_no_and_stands_once():
    for prefix, names in CHIPS.items():
        assert [field.name for field in chip_group({}, prefix).chips] == list(names)
        assert len(set(names)) == len(names)
    # Aspirin that is borne is no illness, and "no" to it is no good news.
    answered = {*CHIPS[ILLNESSES], *ASKED_TOO[ILLNESSES]}
    assert not {"tolerates_aspirin", "pregnancy", "breast_feeding"} & answered
    assert set(CHIPS[ILLNESSES]) < set(Conditions.model_fields)


def test_a_chip_that_is_not_pressed_says_nothing_unless_all_were_asked_for():
    form = {f"{ILLNESSES}asthma": ["yes"]}
    assert read_form(completed(form))["patient"]["conditions"] == {"asthma": "yes"}
    told = read_form(completed(form | {ALL: ["yes"]}))["patient"]["conditions"]
    assert told["asthma"] == "yes"
    assert (told["heart_block"], told["diabetes"]) == ("no", "no")
    assert not {"tolerates_aspirin", "pregnancy", "breast_feeding"} & set(told)


def test_one_eye_that_was_asked_about_says_nothing_of_the_other():
    told = read_form(completed({f"none:{EYE}": ["yes"]}))["patient"]["eyes"]
    assert told["right"]["glaucoma"] == "no"
    assert "left" not in told


ANSWERS = st.sampled_from(["", "yes", "no"])


@given(st.fixed_dictionaries({f"{EYE}{name}": ANSWERS.map(lambda a: [a]) for name in CHIPS[EYE]}))
def test_what_was_answered_comes_back_from_its_chips_unchanged(form):
    group = chip_group(form, EYE)
    shown = {f"{EYE}{f.name}": form[f"{EYE}{f.name}"] for f in group.alone}
    shown |= {f"{EYE}{f.name}": ["yes"] for f in group.chips if form[f"{EYE}{f.name}"] == ["yes"]}
    if group.none_other:
        shown[group.tick] = ["yes"]
    again = completed(shown)
    assert {name: again.get(name, [""]) for name in form} == form


def test_what_stood_behind_a_tick_that_was_taken_away_goes_with_it():
    inside = {f"{EYE}uveitis.herpetic": ["yes"], f"ticked:{EYE}uveitis": ["yes"]}
    assert "eyes" not in read_form(completed(inside)).get("patient", {})
    told = read_form(completed(inside | {f"{EYE}uveitis": ["yes"]}))
    assert told["patient"]["eyes"]["right"]["uveitis"] == {"herpetic": "yes"}


def test_an_allergy_keeps_its_place_and_every_other_word_is_offered_once():
    form = {"patient.allergies.0.to": ["medicine"], "patient.allergies.1.to": ["sulfonamide"]}
    chips = allergy_chips(form)
    told = [(chip.name[-1], chip.to) for chip in chips if chip.told]
    assert told == [("0", "medicine"), ("1", "sulfonamide")]
    offered = [chip.to for chip in chips[2:]]
    assert "sulfonamide" not in offered
    assert offered.count("medicine") == offered.count("other") == 1
    assert len({chip.name for chip in chips}) == len(chips)


def test_the_reaction_of_an_allergy_that_is_taken_away_is_not_left_over():
    form = {"patient.allergies.0.to": [""], "patient.allergies.0.reaction": ["severe"]}
    assert read_form(completed(form)) == {}
