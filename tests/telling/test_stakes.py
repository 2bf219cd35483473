"""What weighs most is read only where nothing in the text speaks against it. Told as surgeons talk: common
practice, no source (C)."""

from __future__ import annotations

import pytest

from followup.telling.lexicon import lexicon_of
from followup.telling.model import FieldTold, Telling
from followup.telling.reading import read_telling

ENGLISH = lexicon_of("en")


def read(text: str) -> Telling:
    """A telling of a right eye that holds ``text``."""
    return read_telling(f"Right phaco. {text}", ENGLISH, "right")


def told(text: str, field: str) -> FieldTold:
    found = read(text).told(f"operation.{field}")
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ("There was a tension ring in the cupboard, but the bag was stable.", "tension_ring"),
        ("The nurse opened a tension ring and I sent it back.", "tension_ring"),
        ("I had a tension ring ready, the zonules were fine.", "tension_ring"),
        ("A tension ring was placed, but half way it would not go in.", "tension_ring"),
        ("I put hooks on the edge of the rhexis.", "pupil_widened"),
        ("Four capsular hooks supported the bag.", "pupil_widened"),
        ("The left eye, two years ago, had a capsule tear with vitreous loss.", "vitreous_lost"),
        ("The left eye, two years ago, had a capsule tear with vitreous loss.", "capsule_torn"),
        ("He had a detachment in 2019, vitrectomy was done then.", "vitrectomy"),
        ("Intracameral antibiotic was out of stock, gentamicin was given.", "antibiotic_in_chamber"),
        ("Moxifloxacin in the chamber could not be given.", "antibiotic_in_chamber"),
        ("The visco came out, though behind the lens who knows.", "viscoelastic.removed"),
        ("The OVD was removed, but not from behind the lens.", "viscoelastic.removed"),
        ("Viscoelastic is taken out, but behind the iris I cannot guarantee.", "viscoelastic.removed"),
        ("Wound was watertight but then it opened again.", "watertight"),
        ("Note to the computer: put the usual template, wound tight.", "watertight"),
        ("We consented her for a trabeculectomy, with trabeculectomy on the list.", "combined_with"),
        ("Earlier trabeculectomy has a good bleb.", "combined_with"),
        ("Bag and lens stable.", "lens"),
        ("Patient refused the pad.", "pad"),
        ("Hyphaema would be expected but there was none.", "bleeding"),
        ("Fibrin in the chamber, then it wasn't.", "fibrin"),
        ("A stitch would have been wise but I left it.", "stitches"),
        ("I wanted the sulcus but the bag was good enough.", "lens"),
        ("Vitrectomy was set up but luckily there was nothing to do.", "vitrectomy"),
    ],
)
def test_what_was_ready_past_planned_or_half_taken_back_is_never_read_as_done(text: str, field: str) -> None:
    found = read(text).told(f"operation.{field}")
    assert found is None or found.kind == "doubtful" or found.value is False


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ("Vitrectomy was planned. Anterior vitrectomy done.", "vitrectomy"),
        ("Previous vitrectomy. Vitrectomy done.", "vitrectomy"),
        ("CTR implanted. No CTR needed.", "tension_ring"),
    ],
)
def test_a_thing_named_twice_and_once_not_of_now_is_asked(text: str, field: str) -> None:
    assert told(text, field).kind == "doubtful"


@pytest.mark.parametrize(
    ("text", "field", "words"),
    [
        ("No vitreous loss.", "vitreous_lost", ["No vitreous loss"]),
        ("Tension ring was not needed.", "tension_ring", ["Tension ring was not needed"]),
        ("No bleeding or vitreous loss.", "vitreous_lost", ["No", "vitreous loss"]),
    ],
)
def test_the_words_of_a_no_hold_the_word_that_denies(text: str, field: str, words: list[str]) -> None:
    telling = read(text)
    found = told(text, field)
    assert found.value is False
    assert [place.of(telling.text) for place in found.words] == words


@pytest.mark.parametrize("joint", ["PC torn but no", "Well no", "No, sorry no"])
def test_a_no_behind_a_word_that_only_joins_denies_what_follows(joint: str) -> None:
    assert told(f"{joint} vitreous loss.", "vitreous_lost").value is False


def test_a_no_between_commas_still_corrects() -> None:
    assert told("Incision 2.4 mm, but no, 2.8 mm.", "cut_mm").value == 2.8


def test_a_number_of_hooks_corrected_is_no_size_of_the_wound() -> None:
    assert (
        read("Four hooks, no, five, I put an extra one in under the wound.").told("operation.cut_mm") is None
    )


def test_a_steroid_without_its_place_is_asked_with_its_amount() -> None:
    for part in ("medicine", "mg", "place"):
        assert told("Dexamethasone 4 mg was given.", f"steroid.0.{part}").kind == "doubtful"


def test_crystals_not_seen_afterwards_are_a_field_and_nothing_given_up() -> None:
    text = "Triamcinolone into the chamber, washed out, no crystals seen afterwards."
    assert told(text, "steroid.0.crystals_seen_after").value is False
    assert read(text).given_up == ()


@pytest.mark.parametrize("result", ["not positive", "negative"])
def test_a_test_for_a_leak_is_no_leak(result: str) -> None:
    assert told(f"Leak test was {result}.", "watertight").value is True


def test_a_steroid_to_see_the_vitreous_tells_of_no_loss_of_it() -> None:
    assert read("Triamcinolone in the chamber to see the vitreous.").told("operation.vitreous_lost") is None
