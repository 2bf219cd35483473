"""Free text is shown where the plan is signed and used for nothing; what it names is asked about.

Other medicines go on by name without a question; what their class means for the eye is said.
"""

from __future__ import annotations

import pytest

from followup.typed import plain


def words(text, **operation):
    return {"operation": {"free_text": text, **operation}}


def asked(plan):
    return {id_ for id_ in plan.blocking() if id_.startswith("in-words")}


def test_what_stands_in_free_text_stands_on_the_plan(someone, told, on_day):
    record = someone(
        **words("Difficult block. Patient coughed."),
        eye={"after_earlier_operation": {"note": "glasses never suited him"}},
        reviews=[{"date": on_day(1), "cells": "0", "note": "daughter rang"}],
    )
    plan = told(record, as_of=2).plan
    assert [(line.field, line.eye, line.text) for line in plan.in_words] == [
        ("operations.0.free_text", "right", "Difficult block. Patient coughed."),
        ("patient.eyes.right.after_earlier_operation.note", "right", "glasses never suited him"),
        ("reviews.0.note", "right", "daughter rang"),
    ]


def test_free_text_alone_changes_nothing_of_the_treatment(someone, told):
    plain_plan, worded = told(someone()), told(someone(**words("small PC tear at the end")))
    assert worded.plan.courses == plain_plan.plan.courses
    assert worded.plan.needs == plain_plan.plan.needs


@pytest.mark.parametrize(
    ("text", "question"),
    [
        ("Small PC tear at the end", "in-words-operation-capsule-torn"),
        ("Torn capsule, no vitreous", "in-words-operation-capsule-torn"),
        ("VITREOUS LOSS", "in-words-operation-vitreous-lost"),
        ("dropped nucleus", "in-words-operation-lens-left"),
        ("Some hyphaema", "in-words-operation-bleeding"),
        ("triamcinolone left in the chamber", "in-words-operation-steroid"),
        ("had iritis as a boy", "in-words-eye-uveitis"),
        ("Known diabetic", "in-words-patient-conditions-diabetes"),
        ("two sutures", "in-words-operation-stitches"),
    ],
)
def test_words_that_name_what_the_record_has_a_field_for_are_asked_about(someone, told, text, question):
    plan = told(someone(**words(text)))
    assert question in asked(plan)
    assert "operations.0.free_text" in plan.question(question).fields
    assert not plan.plan.signable


@pytest.mark.parametrize(
    ("text", "operation"),
    [
        ("PC tear", {"capsule_torn": True}),
        ("no vitreous loss", {"vitreous_lost": False}),
        ("without bleeding", {"bleeding": False}),
        ("one stitch", {"stitches": 1}),
        ("five hooks", {"pupil_widened": ["hooks"]}),
        ("sulcus lens", {"lens": "sulcus"}),
        ("wound leak", {"watertight": False}),
        ("went well", {}),
        ("", {}),
    ],
)
def test_words_that_the_record_agrees_with_are_not_asked_about(someone, told, text, operation):
    assert asked(told(someone(**words(text, **operation)))) == set()


@pytest.mark.parametrize(
    ("text", "operation"),
    [("PC tear", {"capsule_torn": False}), ("no capsule tear", {"capsule_torn": True})],
)
def test_words_that_the_record_contradicts_are_asked_about(someone, told, text, operation):
    assert asked(told(someone(**words(text, **operation)))) == {"in-words-operation-capsule-torn"}


def test_a_note_on_an_earlier_operation_is_read_for_what_happened_then(someone, told):
    note = {"after_earlier_operation": {"note": "pressure rose on steroid"}}
    assert asked(told(someone(eye=note))) == {"in-words-eye-after-earlier-operation-pressure-rise-on-steroid"}
    said = {"after_earlier_operation": {"note": "pressure rose on steroid", "pressure_rise_on_steroid": True}}
    assert asked(told(someone(eye=said))) == set()


# ---- other medicines ----------------------------------------------------------------------------------
def tablet(described, **more):
    return {"route": "mouth", "described": described, **more}


def notices(plan):
    return [plain(notice) for notice in plan.plan.notices]


@pytest.mark.parametrize("name", ["metformin", "amlodipine 5 mg", "a white pill from the market", "Warfarin"])
def test_other_tablets_go_on_by_name_without_a_question(someone, told, name):
    plan = told(someone(in_use=[tablet(name)]))
    assert not [id_ for id_ in plan.asks() if id_.startswith("in-use")]
    assert f'"{name}" goes on as before.' in notices(plan)
    assert plan.plan.signable


@pytest.mark.parametrize(
    ("name", "means"),
    [
        ("tamsulosin 0.4", "alpha blocker"),
        ("Methotrexate", "immunosuppressant"),
        ("furosemide", "diuretic"),
        ("bisoprolol", "beta blocker"),
        ("warfarin", "blood thinner"),
    ],
)
def test_the_classes_that_matter_are_recognised_by_generic_name(someone, told, name, means):
    assert any(means in notice for notice in notices(told(someone(in_use=[tablet(name)]))))


def test_a_blood_thinner_told_by_name_counts_as_one(someone, told):
    assert told(someone(in_use=[tablet("apixaban 5 mg")])).cautions()["nsaid.blood-thinner"] == "warn"


def test_an_mao_inhibitor_told_by_name_forbids_what_it_forbids(someone, told):
    drop = {"medicine": "brimonidine-0-2", "eye": "right", "count_a_day": 2}
    plan = told(someone(in_use=[drop, tablet("phenelzine")]))
    assert plan.cautions()["alpha-agonist.mao"] == "stop"


@pytest.mark.parametrize(
    "entry",
    [
        {"described": "a yellow drop", "eye": "right", "count_a_day": 2},
        tablet("steroid tablets"),
        tablet("Prednisolone 5 mg"),
        tablet("acetazolamide"),
        tablet("tablets for the eyes"),
    ],
)
def test_an_unknown_drop_and_a_tablet_of_an_eye_class_must_be_named(someone, told, entry):
    plan = told(someone(in_use=[entry]))
    assert "in-use-name-0" in plan.blocking()
    assert not any("goes on" in notice for notice in notices(plan))


def test_not_going_on_is_never_told_as_stopped_unless_someone_stopped_it(someone, told):
    quiet = told(someone(in_use=[tablet("metformin", continues=False)]))
    assert '"metformin" from before the operation does not go on.' in notices(quiet)
    assert not any("stopped" in notice for notice in notices(quiet))
    named = told(someone(in_use=[tablet("metformin", continues=False, stopped_by="Dr Osei")]))
    assert '"metformin" from before the operation is stopped, by Dr Osei.' in notices(named)
