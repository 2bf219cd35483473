"""What was told goes into the form: never over what was typed, asked where it differs or is doubtful.

The tellings are made by hand here: how a text is read is tested in its own room.
"""

from __future__ import annotations

import json

import pytest

from followup.care.records.telling import Read
from followup.desks.forms.told import CarriedForm, Where, carried, read_into, same
from followup.desks.forms.told_view import view_of
from followup.said import say
from followup.telling.model import FieldTold, GivenUp, NoPlace, Passage, Possible, Telling

TEXT = "Cut 2.2 mm, capsule torn perhaps, ring, triamcinolone 2 mg, sulfa. Floppy iris. Sunny."
USUAL = {"operations.0.capsule_torn": "no", "operations.0.vitreous_lost": "no", "operations.0.pad": "yes"}
NEW = Where("left", 0, USUAL)
STORED = Where("left", 0)
FORM = {name: [answer] for name, answer in USUAL.items()}


def _words(text):
    start = TEXT.index(text)
    return (Passage(start, start + len(text)),)


def _sure(field, value, words="Cut 2.2 mm"):
    return FieldTold(field, "read", _words(words), value)


def _doubt(field, *values, words="capsule torn perhaps"):
    choices = tuple(Possible(value, _words(words)) for value in values)
    return FieldTold(field, "doubtful", _words(words), None, say("What holds?"), choices, "hedged")


def _read(*fields, routine=None, **more):
    return Read(Telling(TEXT, "en", fields=fields, **more), routine or {})


def _into(form, found, where=NEW, before=None):
    return read_into(form, before or CarriedForm(), found, where)


def _sent_back(form, kept, **typed):
    """The form as a browser sends it after the page was shown, with more typed in it."""
    shown = {name: [value] for name, value in kept.hidden(form)}
    return (
        form | shown | {name: [value] if isinstance(value, str) else value for name, value in typed.items()}
    )


def test_what_was_read_fills_what_nobody_typed_and_routine_stays_only_where_nothing_speaks_against_it():
    fields = (_sure("operation.cut_mm", 2.2), _sure("operation.capsule_torn", True))
    form, kept = _into(FORM, _read(*fields, routine={"operation.pad": True}))
    assert form == {
        "operations.0.cut_mm": ["2.2"],
        "operations.0.capsule_torn": ["yes"],
        "operations.0.pad": ["yes"],
    }, "of the vitreous nothing is routine any more"
    assert not kept.was


@pytest.mark.parametrize(
    ("field", "value", "filled"),
    [
        ("eye.glaucoma", False, {"patient.eyes.left.glaucoma": ["no"]}),
        ("other_eye.glaucoma", True, {"patient.eyes.right.glaucoma": ["yes"]}),
        ("operation.pupil_widened", ("hooks", "ring"), {"operations.0.pupil_widened": ["hooks", "ring"]}),
        ("operation.viscoelastic.removed", "all", {"operations.0.viscoelastic.removed": ["all"]}),
        ("patient.conditions.diabetes", "no", {"patient.conditions.diabetes": ["no"]}),
        (
            "eye.uveitis.kind",
            "anterior",
            {"patient.eyes.left.uveitis": ["yes"], "patient.eyes.left.uveitis.kind": ["anterior"]},
        ),
        ("in_use.0.medicine", "timolol-0.5", {"in_use.0.medicine": ["timolol-0.5"]}),
        ("patient.allergies.0.to", "sulfonamide", {"patient.allergies.0.to": ["sulfonamide"]}),
    ],
)
def test_each_kind_of_field_is_filled_by_its_own_name_and_taken_out_again(field, value, filled):
    form, kept = _into({}, _read(_sure(field, value)), STORED)
    assert form == filled
    gone, _ = read_into(form, kept, None, STORED)
    assert gone == {}


def test_what_was_typed_is_never_overwritten_but_asked():
    typed = FORM | {"operations.0.cut_mm": ["2.8"]}
    form, kept = _into(typed, _read(_sure("operation.cut_mm", 2.2), routine={"operation.pad": True}))
    assert form["operations.0.cut_mm"] == ["2.8"]
    (ask,) = view_of(form, _read(_sure("operation.cut_mm", 2.2)), kept, NEW).asks
    assert [choice.texts for choice in ask.choices] == [("2.8",), ("2.2",), ()]
    assert not ask.answered
    # Typed alike is no question, however the figure is written.
    form, kept = _into(FORM | {"operations.0.cut_mm": ["2.20"]}, _read(_sure("operation.cut_mm", 2.2)))
    assert (form["operations.0.cut_mm"], kept.was) == (["2.20"], {})


def test_a_stored_answer_is_somebodys_own_even_where_it_is_the_routine_one():
    form, kept = _into(FORM, _read(_sure("operation.capsule_torn", True)), STORED)
    assert form == FORM
    assert list(kept.was) == ["operations.0.capsule_torn"]


def test_a_doubtful_field_stands_empty_until_somebody_answers():
    found = _read(_doubt("operation.capsule_torn", True, False))
    form, kept = _into(FORM, found)
    name = "operations.0.capsule_torn"
    assert name not in form
    ask = view_of(form, found, kept, NEW).asks[0]
    assert [choice.texts for choice in ask.choices] == [("yes",), ("no",), ()]
    assert (ask.answered, ask.picked, ask.mark.quotes) == (False, "", ("capsule torn perhaps",))
    for pressed, here in (('["yes"]', ["yes"]), ("[]", None)):
        form_back, back = carried(_sent_back(form, kept, **{f"asked:{name}": pressed}))
        assert (form_back.get(name), back.answered) == (here, {name})
        shown = view_of(form_back, found, back, NEW)
        assert (shown.open_asks, shown.asks[0].picked) == ((), pressed)
        # Sent once more as it was shown, it is answered still.
        again, still = carried(_sent_back(form_back, back, **{f"asked:{name}": pressed}))
        assert (again.get(name), still.answered) == (here, {name})
    nothing, back = carried(_sent_back(form, kept))
    assert (name in nothing, back.answered) == (False, frozenset())
    assert len(view_of(nothing, found, back, NEW).open_asks) == 1


def test_what_is_typed_in_the_field_wins_over_the_answer_pressed_before():
    found = _read(_doubt("operation.cut_mm", 2.2, 2.8))
    form, kept = _into({}, found)
    name = "operations.0.cut_mm"
    form, kept = carried(_sent_back(form, kept, **{f"asked:{name}": '["2.2"]'}))
    form, kept = carried(_sent_back(form, kept, **{f"asked:{name}": '["2.2"]', name: "3"}))
    assert (form[name], kept.answered) == (["3"], {name})
    ask = view_of(form, found, kept, NEW).asks[0]
    assert (json.loads(ask.picked), [choice.texts for choice in ask.choices]) == (
        ["3"],
        [("2.2",), ("2.8",), ("3",), ()],
    )
    # And another answer pressed then wins over what stood in the field when the page was shown.
    form, kept = carried(_sent_back(form, kept, **{f"asked:{name}": '["2.8"]'}))
    assert form[name] == ["2.8"]


def test_what_was_typed_already_where_it_is_doubtful_is_asked_as_well():
    form, kept = _into(
        {"operations.0.capsule_torn": ["yes"]}, _read(_doubt("operation.capsule_torn", True, False))
    )
    assert form == {"operations.0.capsule_torn": ["yes"]}
    assert carried(_sent_back(form, kept))[1].answered == frozenset()


def test_read_again_it_replaces_what_was_read_before_and_leaves_what_was_changed_since():
    form, kept = _into(FORM, _read(_sure("operation.cut_mm", 2.2), _sure("operation.lens_power", 21)))
    form, kept = carried(_sent_back(form, kept, **{"operations.0.lens_power": "22"}))
    form, kept = read_into(form, kept, _read(_sure("operation.cut_mm", 2.4)), NEW)
    assert (form["operations.0.cut_mm"], form["operations.0.lens_power"]) == (["2.4"], ["22"])
    form, kept = read_into(form, kept, None, NEW)
    assert form == FORM | {"operations.0.lens_power": ["22"]}, "and the routine answers stand again"


def test_what_was_read_of_one_eye_does_not_stay_there_when_another_is_named():
    found = _read(_sure("eye.pseudoexfoliation", True))
    form, kept = _into({}, found, STORED)
    form, kept = carried(_sent_back(form, kept))
    form, kept = read_into(form, kept, found, Where("right", 0))
    assert form == {"patient.eyes.right.pseudoexfoliation": ["yes"]}


STEROID = (
    _sure("operation.steroid.0.medicine", "triamcinolone-injection"),
    _sure("operation.steroid.0.mg", 2),
)


@pytest.mark.parametrize(
    ("typed", "line", "asked"),
    [
        ({}, 0, []),
        # Of another medicine: a line of its own, so that two are never mixed into one.
        ({"0.medicine": "dexamethasone-injection", "0.mg": "0.4"}, 1, []),
        ({"0.mg": "0.4"}, 1, []),
        ({"0.medicine": ""}, 0, []),
        # Of the same one: the same line, and asked where the dose differs.
        ({"0.medicine": "triamcinolone-injection"}, 0, []),
        ({"0.medicine": "triamcinolone-injection", "0.mg": "4"}, 0, ["operations.0.steroid.0.mg"]),
        (
            {"0.medicine": "dexamethasone-injection", "1.medicine": "triamcinolone-injection", "1.mg": "4"},
            1,
            ["operations.0.steroid.1.mg"],
        ),
    ],
)
def test_a_line_of_a_list_goes_where_the_same_thing_was_typed_or_into_its_own(typed, line, asked):
    typed = {f"operations.0.steroid.{name}": [value] for name, value in typed.items()}
    form, kept = _into(typed, _read(*STEROID), STORED)
    assert kept.places == {"operation.steroid.0": f"operations.0.steroid.{line}"}
    assert form[f"operations.0.steroid.{line}.medicine"] == ["triamcinolone-injection"]
    assert list(kept.was) == asked
    kept_as_typed = {name: texts for name, texts in typed.items() if texts != [""]}
    assert kept_as_typed.items() <= form.items()
    _, back = carried(_sent_back(form, kept))
    marks = view_of(form, _read(*STEROID), back, STORED).marks
    assert set(marks) == {f"operations.0.steroid.{line}.{part}" for part in ("medicine", "mg")}


def test_two_lines_of_one_medicine_stay_two():
    twice = tuple(_sure(f"in_use.{n}.medicine", "timolol-0.5") for n in (0, 1))
    form, _ = _into({}, _read(*twice), STORED)
    assert form == {f"in_use.{n}.medicine": ["timolol-0.5"] for n in (0, 1)}


def test_the_text_is_cut_at_its_words_and_nothing_of_it_is_lost():
    fields = (
        _doubt("operation.capsule_torn", True, False),
        _sure("operation.cut_mm", 2.2),
        _sure("operation.lens_power", 2.2, "2.2"),
    )
    given_up = (GivenUp("operation.pupil_widened", ("ring",), _words("ring"), "tried"),)
    no_place = (NoPlace(say("how the iris behaved"), _words("Floppy iris")),)
    found = _read(*fields, unread=_words("Sunny."), given_up=given_up, no_place=no_place)
    form, kept = _into(FORM, found)
    view = view_of(form, found, kept, NEW)
    assert "".join(piece.text for piece in view.pieces) == TEXT
    lit = {piece.text: piece.numbers for piece in view.pieces if piece.numbers}
    assert lit == {"Cut ": (1,), "2.2": (1, 2), " mm": (1,), "capsule torn perhaps": (3,)}
    assert [piece.text for piece in view.pieces if piece.left] == ["Sunny."]
    ends = [[mark.number for mark, first in piece.ends if first] for piece in view.pieces if piece.ends]
    assert ends == [[2], [1], [3]]
    assert [(one.words, one.texts) for one in view.given_up] == [("ring", ("ring",))]
    assert [(one.what, one.words) for one in view.no_place] == [("how the iris behaved", "Floppy iris")]
    assert [one.words for one in view.unread] == ["Sunny."]
    holds = {mark.name.rpartition(".")[2]: (mark.asked, mark.holds) for mark in view.marks.values()}
    assert holds == {"capsule_torn": (True, False), "cut_mm": (False, True), "lens_power": (False, True)}
    changed = form | {"operations.0.cut_mm": ["3"]}
    assert not view_of(changed, found, kept, NEW).marks["operations.0.cut_mm"].holds


@pytest.mark.parametrize(
    ("words", "quotes"),
    [
        (("capsule", "perhaps"), ("capsule torn perhaps",)),
        (("perhaps", "capsule"), ("capsule torn perhaps",)),
        (("Cut", "Floppy iris"), ("Cut", "Floppy iris")),
    ],
)
def test_words_near_each_other_are_quoted_with_what_stands_between_them(words, quotes):
    places = tuple(place for one in words for place in _words(one))
    found = _read(FieldTold("operation.capsule_torn", "read", places, True))
    form, kept = _into(FORM, found)
    assert view_of(form, found, kept, NEW).marks["operations.0.capsule_torn"].quotes == quotes


def test_only_a_routine_answer_of_which_nothing_was_told_is_marked_as_one():
    found = _read(_sure("operation.vitreous_lost", False), routine={"operation.pad": True})
    form, kept = _into(FORM, found)
    assert view_of(form, found, kept, NEW).routine == {"operations.0.pad"}


@pytest.mark.parametrize(
    "raw", ["{", "null", '"yes"', "[1]", "[[], []", "[" * 5000, "{}", '[["a"]]', "[[1], []]"]
)
def test_damaged_words_of_the_form_itself_answer_nothing(raw):
    name = "operations.0.capsule_torn"
    form, kept = carried({f"asked:{name}": [raw], f"was:{name}": [raw], f"read:{name}": [raw]})
    assert (form, kept.answered, dict(kept.was)) == ({}, frozenset(), {})


def test_figures_and_orders_make_no_difference_and_words_do():
    assert same(["2.20"], ["2.2"])
    assert same(["a", "b"], ["b", "a"])
    assert not same(["2.2"], ["2.3"])
    assert not same(["yes"], [])
