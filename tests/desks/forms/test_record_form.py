"""The record as a form: nothing of a record is out of reach, and nothing gets lost on the way."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import followup
from followup.care.fields.checked import RecordError, check
from followup.care.fields.labels import LABELS
from followup.care.fields.shape import RECORD, Field, Group, leaves
from followup.care.fields.values import fill_form, read_form, rows
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Record
from followup.desks.forms.choices import CHOICES
from followup.desks.forms.layout import (
    PATIENT,
    STORY,
    operation_shape,
    patient_shape,
    routine_answers,
)
from followup.desks.forms.sheet import FormView, without_row

USUAL = load_protocol().routine
CASES = sorted((Path(followup.__file__).parent / "demo" / "cases").glob("*.json"))


def _groups(group: Group):
    for member in group.members:
        if isinstance(member, Group):
            yield member
            yield from _groups(member)


def test_every_field_and_group_of_the_record_has_a_label_and_no_label_is_left_over():
    used = {field.of for field in leaves(RECORD)} | {group.of for group in _groups(RECORD)}
    assert used == set(LABELS)


def test_every_answer_of_the_record_has_words_and_no_words_are_left_over():
    used = {word for field in leaves(RECORD) for word in field.choices} | {"yes", "no"}
    assert used == set(CHOICES)


def test_the_form_has_every_field_of_the_record():
    for model, group in [(Record, RECORD)]:
        assert [member.name for member in group.members] == list(model.model_fields)
    names = {field.of for field in leaves(RECORD)}
    for model in ("Patient", "Operation", "EyeHistory", "Findings", "InUse", "SteroidGiven", "Conditions"):
        assert any(name.startswith(f"{model}.") for name in names)


def test_story_patient_and_routine_name_only_fields_that_exist():
    for chapter in STORY:
        for name in chapter.members:
            operation_shape().member(name)
    for name in PATIENT:
        patient_shape().member(name)
    for name, answer in USUAL.typed.items():
        member: Field | Group = operation_shape()
        for part in name.split("."):
            member = member.member(part)
        assert isinstance(member, Field)
        assert not member.choices or answer in member.choices


def test_the_routine_case_never_answers_which_eye_who_or_what_illness():
    answered = set(routine_answers(USUAL, 0, "2027-03-01"))
    assert not [name for name in answered if name.startswith("patient.") or ".eye" in name]


def test_nothing_is_answered_beforehand_that_only_the_surgeon_can_tell():
    """What was cut, what bled, what was put in and what was left: silence there is no good news."""
    told = {"cut_mm", "bleeding", "viscoelastic.removed", "antibiotic_in_chamber", "steroid", "start", "end"}
    assert not told & set(USUAL.typed)
    assert set(USUAL.typed) == {
        *("procedure", "chamber", "pressure_from_behind", "synechiae_broken", "membrane_peeled"),
        *("iris_torn", "capsule_torn", "vitreous_lost", "vitrectomy", "zonules_weak", "lens_left"),
        *("cornea_touched", "lens", "stitches", "watertight", "pad"),
    }


def test_an_uneventful_operation_needs_fewer_than_twelve_entries(routine):
    typed = [name for name in routine if name != "patient.drops_by"]
    assert len(typed) < 12
    form = routine_answers(USUAL, 0, "2027-03-01") | routine
    assert check(read_form(form)).operations[0].lens == "bag"


@pytest.mark.parametrize("case", CASES, ids=lambda path: path.stem)
def test_a_record_comes_back_from_its_form_unchanged(case):
    record = Record.model_validate(json.loads(case.read_text("utf-8")))
    filled = fill_form(record.model_dump(mode="json", exclude_none=True))
    assert check(read_form(filled)) == record


def test_there_are_cases_to_come_back():
    assert len(CASES) == 12


yes_no = st.sampled_from([True, False, None])
operations = st.fixed_dictionaries(
    {
        "eye": st.just("left"),
        "eye_drawn": st.just("left"),
        "date": st.dates(date(2020, 1, 1), date(2069, 12, 31)).map(lambda d: d.isoformat()),
        "procedure": st.just("phacoemulsification"),
    },
    optional={
        "cut_mm": st.floats(0.5, 15, allow_nan=False).map(lambda x: round(x, 2)),
        "stitches": st.integers(0, 20),
        "bleeding": st.booleans(),
        "pupil_widened": st.lists(st.sampled_from(["drops", "hooks", "ring"]), unique=True),
        "free_text": st.text(
            st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), min_size=1, max_size=60
        ).filter(str.strip),
        "viscoelastic": st.fixed_dictionaries({}, optional={"removed": st.sampled_from(["all", "doubtful"])}),
    },
)


@given(
    operation=operations,
    uveitis=st.sampled_from([None, {}, {"kind": "front"}, {"kind": "HLA-B27"}]),
    reads=yes_no,
)
def test_any_record_comes_back_from_its_form_unchanged(operation, uveitis, reads):
    patient = {"code": "X-1", "name": "Somebody", "birth_year": 1950, "can_read": reads}
    patient["eyes"] = {"left": {"uveitis": uveitis}}
    record = Record.model_validate({"patient": patient, "operations": [operation]})
    filled = fill_form(record.model_dump(mode="json", exclude_none=True))
    assert check(read_form(filled)) == record


def test_a_tick_alone_says_that_the_eye_is_uveitic(routine):
    form = routine_answers(USUAL, 0, "2027-03-01") | routine | {"patient.eyes.left.uveitis": ["yes"]}
    assert check(read_form(form)).patient.eyes.left.uveitis is not None


def test_a_problem_stands_at_its_field_and_is_named_in_words(routine):
    form = routine_answers(USUAL, 0, "2027-03-01") | routine | {"operations.0.cut_mm": ["300"]}
    with pytest.raises(RecordError) as caught:
        check(read_form(form))
    assert set(caught.value.problems) == {"operations.0.cut_mm"}
    assert caught.value.line.startswith("Operations 1, Incision, mm: ")


def test_a_field_that_may_hold_a_number_or_words_keeps_its_problem_at_its_name(routine):
    review = {"reviews.0.eye": ["right"], "reviews.0.date": ["2027-03-02"], "reviews.0.pressure": ["999"]}
    with pytest.raises(RecordError) as caught:
        check(read_form(routine_answers(USUAL, 0, "2027-03-01") | routine | review))
    assert set(caught.value.problems) == {"reviews.0.pressure"}


def test_empty_rows_vanish_and_the_others_close_up():
    form = {
        "patient.telephones.0.number": [""],
        "patient.telephones.4.number": ["+44 20 7946 0101"],
        "patient.telephones.9999.number": ["+44 20 7946 0102"],
        "patient.telephones.x.number": ["+44 20 7946 0103"],
    }
    assert read_form(form)["patient"]["telephones"] == [{"number": "+44 20 7946 0101"}]
    assert rows(form, "patient.telephones") == 5


def test_a_chapter_with_an_answer_or_a_problem_does_not_stay_folded():
    conditions = patient_shape().member("conditions")
    assert isinstance(conditions, Group)
    head = "patient.conditions."
    assert not FormView({}).says_something(conditions.members, head)
    assert FormView({f"{head}asthma": ["yes"]}).says_something(conditions.members, head)
    assert FormView({}, {f"{head}asthma": "wrong"}).says_something(conditions.members, head)


def test_a_list_loses_the_line_that_is_removed_and_the_others_move_up():
    form = {f"patient.telephones.{i}.number": [str(i)] for i in range(3)} | {"patient.telephones": [""]}
    kept = without_row(form, "patient.telephones.1")
    assert kept["patient.telephones.1.number"] == ["2"]
    assert rows(kept, "patient.telephones") == 2
    assert without_row(form, "patient.telephones.x") == form


def test_a_waking_day_as_every_record_has_it_opens_no_fold():
    """A stored record holds its own hours; only other ones differ."""
    patient = {"code": "X-1", "name": "Somebody", "birth_year": 1950}
    operation = {"eye": "left", "eye_drawn": "left", "date": "2027-03-01", "procedure": "phacoemulsification"}
    record = Record.model_validate({"patient": patient, "operations": [operation]})
    form = FormView(fill_form(record.model_dump(mode="json", exclude_none=True)))
    more = form.patient_folds[0]
    assert not form.says_something(more.members, more.prefix)
    late = FormView({**form.values, "patient.waking.rise": ["09:00"]})
    assert late.says_something(more.members, more.prefix)
