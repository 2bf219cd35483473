"""An answer that nothing asks for is named on the plan; one that something asks for is not."""

from __future__ import annotations

import pytest

QUIET_UVEITIS = {"uveitis": {"kind": "anterior", "last_active": "2025-01-01"}}
RESPONDER = {"steroid_responder": True}
CHOICE = {
    "responder_course": "course for an eye that rises on steroid",
    "depot_course": "course after a depot",
    "steroid_in_responder": "steroid put into an eye that rises on it",
    "cycloplegic": "pupil-widening drop",
    "nsaid": "NSAID drop",
    "steroid_with_inhibitor": "steroid beside a strong inhibitor",
}


def unused(plan) -> set[str]:
    start, end = "The answer on the ", " changes nothing in the right eye."
    notices = (notice for notice in plan.plan.notices if notice.endswith(end))
    return {notice.removeprefix(start).removesuffix(end) for notice in notices}


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("responder_course", "A"),
        ("responder_course", "B"),
        ("depot_course", "no drops"),
        ("steroid_in_responder", "no drops"),
        ("steroid_with_inhibitor", "give"),
    ],
)
def test_a_choice_that_no_question_of_this_eye_asks_for_is_named(someone, told, name, value):
    plain, chosen = told(someone()), told(someone(operation={"choices": {name: value}}))
    assert unused(plain) == set()
    assert unused(chosen) == {CHOICE[name]}
    assert chosen.courses() == plain.courses()
    assert chosen.steps("right:steroid") == plain.steps("right:steroid")


@pytest.mark.parametrize("course", ["A", "B"])
def test_a_choice_that_settles_a_question_is_not_named(someone, told, course):
    asked = told(someone(eye=RESPONDER))
    assert any("responder_course" in field for q in asked.plan.questions for field in q.fields)
    assert unused(told(someone(eye=RESPONDER, operation={"choices": {"responder_course": course}}))) == set()


def test_a_choice_that_changes_a_course_is_not_named(someone, told):
    declined = told(someone(operation={"choices": {"nsaid": "do not give"}}))
    assert told(someone()).courses()["right:nsaid"] == "active"
    assert declined.courses()["right:nsaid"] == "stopped"
    assert unused(declined) == set()


@pytest.mark.parametrize("word", ["give", "do not give"])
def test_a_choice_that_a_caution_asks_for_is_not_named(someone, told, word):
    more = {"eye": QUIET_UVEITIS, "conditions": {"cyp3a4_inhibitor": "ritonavir or cobicistat"}}
    assert "steroid.inhibitor" in {caution.id for caution in told(someone(**more)).plan.cautions}
    assert unused(told(someone(**more, operation={"choices": {"steroid_with_inhibitor": word}}))) == set()


def test_a_product_and_a_release_of_a_course_that_this_eye_does_not_get_are_named(someone, told):
    more = {
        "products": [{"role": "cycloplegic", "medicine": "atropine-1"}],
        "released": [{"course": "cycloplegic", "on": "2026-03-03"}],
    }
    assert unused(told(someone(operation=more))) == {
        "product for the cycloplegic",
        "release of the cycloplegic",
    }
    wanted = told(someone(operation=more | {"choices": {"cycloplegic": "give"}}))
    assert wanted.course("right:cycloplegic").medicine == "atropine-1"
    assert unused(wanted) == set()


def test_the_names_stand_in_the_order_of_the_record_whatever_was_written_first(someone, told):
    one, two = (
        {"responder_course": "A", "depot_course": "taper"},
        {"depot_course": "taper", "responder_course": "A"},
    )
    first, second = (told(someone(operation={"choices": each})) for each in (one, two))
    assert first.plan.notices == second.plan.notices
    assert len(unused(first)) == 2
