"""What must hold of every telling, whatever its words."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from told_operations import told_operations

from followup.clinical.record.fields import held, leads
from followup.telling.lexicon import lexicon_of
from followup.telling.reading import read_telling

ENGLISH = lexicon_of("en")
TOLD = [*told_operations("own"), *told_operations("blind"), *told_operations("second")]
EVENTS = [
    "posterior capsule tear",
    "vitreous loss",
    "iridodialysis",
    "wound burn",
    "zonular dehiscence",
    "hyphaema",
    "descemet detachment",
    "anterior vitrectomy",
    "fibrin",
    "endothelial touch",
    "capsular tension ring placed",
    "bandage contact lens",
    "glaucoma",
    "asthma",
    "pseudoexfoliation",
]
AROUND = st.sampled_from(["", "Lens in the bag. ", "Pupil 4 mm, hooks. ", "Watertight, "])
SENTENCES = {
    "Capsule torn": ("capsule_torn", True),
    "no bleeding": ("bleeding", False),
    "2.4 mm incision": ("cut_mm", 2.4),
    "lens in the sulcus": ("lens", "sulcus"),
    "two stitches": ("stitches", 2),
    "watertight": ("watertight", True),
}
# Letters of no word: hypothesis would otherwise write words of the trade that stand in this file.
GARBAGE = st.text(st.sampled_from("qxzjkwé漢яअ0123456789.,;:!?-–()/%+'\"° \n\t"), max_size=200)


@given(st.sampled_from(TOLD), st.sampled_from([str.upper, str.lower]))
@settings(max_examples=25, deadline=None)
def test_no_reading_is_turned_by_case(told, change):
    before = read_telling(told.text, ENGLISH, told.eye).read
    after = read_telling(change(told.text), ENGLISH, told.eye).read
    both = (name for name in before.keys() & after.keys() if not isinstance(before[name], tuple))
    assert {name: (before[name], after[name]) for name in both if before[name] != after[name]} == {}


@given(st.sampled_from(TOLD), st.sampled_from(["  ", "\t", " \t "]))
@settings(max_examples=20, deadline=None)
def test_spaces_change_nothing(told, space):
    before = read_telling(told.text, ENGLISH, told.eye)
    after = read_telling(told.text.replace(" ", space), ENGLISH, told.eye)
    assert after.read == before.read
    assert [one.field for one in after.fields] == [one.field for one in before.fields]


@given(st.permutations(list(SENTENCES)))
@settings(max_examples=40, deadline=None)
def test_the_order_of_sentences_turns_nothing(sentences):
    found = read_telling(". ".join(["Right phaco", *sentences]) + ".", ENGLISH, "right").read
    told = dict(SENTENCES.values()) | {"procedure": "phacoemulsification"}
    assert {name.removeprefix("operation."): value for name, value in found.items()} == told


@given(
    AROUND, st.sampled_from(EVENTS), st.sampled_from(["no", "No", "without", "there was no", "nil"]), AROUND
)
@settings(max_examples=60, deadline=None)
def test_a_no_before_a_phrase_never_leaves_it_read_as_yes(before, event, no, after):
    plain = read_telling(f"Right phaco. {event}.", ENGLISH, "right").read
    denied = read_telling(f"Right phaco. {before}{no} {event}. {after}", ENGLISH, "right").read
    said = {name for name, value in plain.items() if value is True}
    assert said
    assert not [name for name in said if denied.get(name) is True]


@given(GARBAGE)
@settings(max_examples=150, deadline=None)
def test_garbage_yields_no_field_and_no_fault(text):
    assert read_telling(text, ENGLISH, "right").fields == ()


@given(st.sampled_from(TOLD), st.integers(0, 400), GARBAGE)
@settings(max_examples=20, deadline=None)
def test_garbage_in_a_telling_is_never_a_fault(told, at, garbage):
    read_telling(told.text[:at] + garbage + told.text[at:], ENGLISH, told.eye)


def test_every_reading_stands_in_the_text_and_fits_the_record():
    for told in TOLD:
        telling = read_telling(told.text, ENGLISH, told.eye)
        for one in telling.fields:
            assert one.words, (told.id, one.field)
            assert all(0 <= place.start < place.end <= len(telling.text) for place in one.words)
            assert any(sign.isalnum() for place in one.words for sign in place.of(telling.text))
            assert (one.value is None) == (one.kind == "doubtful") == (one.question is not None)
            _fits_the_record(one)


def _fits_the_record(one):
    """Entries of the list of steroids are told one by one, groups (uveitis) by being there at all."""
    if "steroid." in one.field or one.field in ("eye.uveitis", "eye.herpetic_keratitis"):
        return
    assert leads(one.field), one.field
    values = [one.value] if one.kind == "read" else [choice.value for choice in one.choices]
    parts = [part for value in values for part in (value if isinstance(value, tuple) else (value,))]
    assert all(held(one.field).can_be(part) for part in parts if not isinstance(part, float)), one


def test_a_sentence_that_leads_to_nothing_shown_is_listed_though_words_of_it_are_known():
    for added in ("She is allergic to penicillin.", "His mother had an oral antibiotic."):
        for one in TOLD:
            text = f"{one.text.rstrip().rstrip('.')}. {added}"
            telling = read_telling(text, ENGLISH, one.eye)
            if telling.refused is None:
                assert added.rstrip(".") in [place.of(text) for place in telling.unread], one.id
