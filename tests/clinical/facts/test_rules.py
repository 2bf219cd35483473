"""Which rules fire, what they say of themselves, and which answers end a question."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from followup.clinical.facts.derive import Fact, FactTold
from followup.clinical.facts.fire import fire, holds
from followup.clinical.protocol.rule import CourseEffect, NeedEffect, Rule


def facts(**values):
    return {name: _fact(name, value) for name, value in values.items()}


def _fact(name, value):
    words = {True: "yes", False: "no", None: "not recorded"}
    return Fact(name, value, lambda: FactTold(words[value], (f"field.{name}",)))


def rule(**parts):
    base = {"id": "r", "because": "A test.", "source": "invented", "mark": "C", "tier": "B"}
    return Rule.model_validate(base | parts)


@pytest.mark.parametrize(
    ("parts", "yes", "no", "unknown"),
    [
        ({"when": ["a"]}, True, False, False),
        ({"any_of": ["a"]}, True, False, False),
        ({"unless": ["a"]}, False, True, True),
        ({"unknown": ["a"]}, False, False, True),
        ({"when": ["not a"]}, False, True, False),
        ({"unless": ["not a"]}, True, False, True),
    ],
)
def test_when_needs_a_plain_yes_and_unless_is_not_met_by_silence(parts, yes, no, unknown):
    assert [holds(rule(**parts), facts(a=value)) for value in (True, False, None)] == [yes, no, unknown]


def test_every_condition_of_a_rule_must_hold():
    both = rule(when=["a"], any_of=["b", "c"], unless=["d"])
    assert holds(both, facts(a=True, b=False, c=True, d=False))
    assert not holds(both, facts(a=True, b=False, c=None, d=False))
    assert not holds(both, facts(a=True, b=True, c=True, d=True))


def test_a_reason_names_the_facts_that_made_the_rule_fire_and_their_fields():
    (fired,) = fire([rule(when=["a"], any_of=["b", "c"])], facts(a=True, b=False, c=True))
    assert [(f.fact, f.value, f.fields) for f in fired.reason.facts] == [
        ("a", "yes", ("field.a",)),
        ("c", "yes", ("field.c",)),
    ]
    assert (fired.reason.because, fired.reason.source, fired.reason.mark) == ("A test.", "invented", "C")


def test_a_rule_that_fires_on_absence_names_what_was_absent():
    (fired,) = fire([rule(unless=["a"])], facts(a=False))
    assert [f.fact for f in fired.reason.facts] == ["a"]


@pytest.mark.parametrize(
    ("model", "wrong"),
    [
        (CourseEffect, {"role": "nsaid"}),
        (CourseEffect, {"role": "nsaid", "taper": "R"}),
        (CourseEffect, {"role": "steroid", "days": 5}),
        (CourseEffect, {"role": "antiviral", "until_after_steroid": 14}),
        (CourseEffect, {"role": "nsaid", "days": 0}),
        (CourseEffect, {"role": "antibiotic", "steps": [[4, 0]]}),
        (CourseEffect, {"role": "antibiotic", "steps": [["often", 7]]}),
        (NeedEffect, {"id": "x", "kind": "wound", "earliest": "soon", "target": "2", "latest": "3"}),
        (NeedEffect, {"id": "x", "kind": "wound", "earliest": "1", "target": "F+x", "latest": "3"}),
        (NeedEffect, {"id": "X Y", "kind": "wound", "earliest": "1", "target": "2", "latest": "3"}),
    ],
)
def test_an_effect_that_says_too_little_or_too_much_is_refused(model, wrong):
    with pytest.raises(ValidationError):
        model.model_validate(wrong)


def test_every_rule_of_the_sample_says_why_and_from_where(protocol):
    for found in protocol.rules:
        assert len(found.because) > 10
        assert found.mark in ("P", "S", "M", "C")
        # A judgement of our own must say so, and nothing else may.
        own = "no source" in found.source or "surgeon" in found.source or "common practice" in found.source
        assert own or found.mark != "C", found.id


@pytest.mark.parametrize(
    ("given", "question", "answer"),
    [
        (
            {"operation": {"viscoelastic": {}}},
            "ask-viscoelastic",
            {"operation": {"viscoelastic": {"removed": "all"}}},
        ),
        ({"language": None}, "ask-language", {"language": "sw"}),
        ({"allergy_text": "sulphur"}, "ask-sulphur", {"allergy_text": "sulphur", "sulphur_is_neither": True}),
        (
            {"allergy_text": "sulphur"},
            "ask-sulphur",
            {"allergy_text": "sulphur", "allergies": [{"to": "sulfonamide", "reaction": "rash"}]},
        ),
        ({"birth_date": None, "birth_year": 2008}, "age-at-18", {"birth_date": "2008-01-05"}),
        (
            {"drops_by": {"who": "nobody"}},
            "ask-hands",
            {"drops_by": {"who": "nobody"}, "help_arranged": "stay"},
        ),
        (
            {"eye": {"only_seeing": True}, "drops_by": {"who": "self"}},
            "only-eye-helper",
            {"eye": {"only_seeing": True}, "drops_by": {"who": "self", "name": "Ines, neighbour"}},
        ),
        (
            {"eye": {"uveitis": {"last_active": "2025-01-01"}}},
            "ask-uveitis-kind",
            {"eye": {"uveitis": {"last_active": "2025-01-01", "kind": "anterior"}}},
        ),
    ],
)
def test_a_question_blocks_until_its_own_field_is_filled_in(someone, told, given, question, answer):
    asked = told(someone(**given))
    assert question in asked.blocking()
    assert not asked.plan.signable
    assert question not in told(someone(**answer)).asks()


def test_a_patient_wide_question_is_put_once_for_two_eyes(someone, told):
    plan = told(someone(language=None, more_operations=[{"eye": "left", "eye_drawn": "left"}]))
    assert [q.eye for q in plan.plan.questions if q.id == "ask-language"] == [None]


def test_eight_drops_a_day_need_a_known_hand_and_four_do_not(someone, told):
    uveitic = {"eye": {"uveitis": {"kind": "anterior", "last_active": "2025-01-01"}}}
    assert "ask-who-gives" in told(someone(**uveitic, drops_by=None)).blocking()
    assert "ask-who-gives" not in told(someone(drops_by=None)).asks()
