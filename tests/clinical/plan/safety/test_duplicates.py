"""Two medicines at the same time: two steroids, two of one class, the sum over both eyes."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from followup.clinical.careplan import Course, Step
from followup.clinical.plan.contraindications import check_duplicates

DAY = date(2025, 3, 4)


def course(medicine, eye="right", starts=0, days=28, key=None, **more):
    steps = (Step(start=DAY + timedelta(days=starts), days=days, count=2),) if days else ()
    key = key or f"{eye or 'mouth'}:{medicine}"
    return Course(key=key, role="other", medicine=medicine, eye=eye, steps=steps, **more)


@pytest.fixture
def found(formulary, cautions):
    def _found(*courses):
        return [(f.id, f.level, f.courses) for f in check_duplicates(courses, formulary, cautions)]

    return _found


def ids(findings):
    return [name for name, _, _ in findings]


def test_two_steroids_in_one_eye_are_asked_about(found):
    two = (course("dexamethasone-0-1"), course("prednisolone-acetate-1"))
    expected = [("duplicate.steroid", "ask", ("right:dexamethasone-0-1", "right:prednisolone-acetate-1"))]
    assert found(*two) == expected


def test_a_weaker_steroid_that_follows_the_stronger_is_no_duplicate(found):
    assert found(course("dexamethasone-0-1", days=7), course("fluorometholone-0-1", starts=7)) == []
    assert ids(found(course("dexamethasone-0-1", days=8), course("fluorometholone-0-1", starts=7))) == [
        "duplicate.steroid"
    ]


def test_the_same_steroid_in_each_eye_is_no_duplicate(found):
    assert found(course("dexamethasone-0-1"), course("dexamethasone-0-1", eye="left")) == []


def test_steroid_tablets_beside_steroid_drops_are_no_duplicate(found):
    assert found(course("dexamethasone-0-1"), course("prednisolone-5-tablet", eye=None)) == []


@pytest.mark.parametrize(
    ("one", "two", "expected"),
    [
        ("timolol-0-5", "dorzolamide-timolol", "duplicate.beta-blocker"),
        ("timolol-0-5", "betaxolol-0-5", "duplicate.beta-blocker"),
        ("dorzolamide-2", "dorzolamide-timolol", "duplicate.substance"),
        ("dorzolamide-2", "brinzolamide-1", "duplicate.class"),
        ("latanoprost-0-005", "travoprost-0-004", "duplicate.class"),
        ("bromfenac-0-09", "ketorolac-0-5", "duplicate.class"),
        ("levofloxacin-0-5", "chloramphenicol-0-5", "duplicate.antibiotic"),
    ],
)
def test_two_of_one_class_in_one_eye_give_one_finding(found, one, two, expected):
    assert ids(found(course(one), course(two))) == [expected]
    assert ids(found(course(two), course(one))) == [expected]


@pytest.mark.parametrize(
    ("one", "two"),
    [
        ("timolol-0-5", "latanoprost-0-005"),
        ("dexamethasone-0-1", "levofloxacin-0-5"),
        ("carmellose-0-5", "hypromellose-0-3"),
        ("sodium-chloride-5", "sodium-chloride-5-ointment"),
    ],
)
def test_medicines_that_belong_together_are_left_alone(found, one, two):
    assert found(course(one), course(two)) == []


def test_a_beta_blocker_in_both_eyes_is_noted_for_the_sum(found):
    both = (course("timolol-0-5"), course("dorzolamide-timolol", eye="left"))
    assert [(name, level) for name, level, _ in found(*both)] == [
        ("duplicate.beta-blocker-both-eyes", "note")
    ]


def test_an_inhibitor_as_drop_and_by_mouth_is_asked_about(found):
    two = (course("acetazolamide-250-tablet", eye=None), course("dorzolamide-2"))
    assert ids(found(*two)) == ["duplicate.inhibitor-by-mouth-too"]


def test_two_steroids_by_mouth_are_asked_about(found):
    two = (course("prednisolone-5-tablet", eye=None), course("prednisone-5-tablet", eye=None))
    assert ids(found(*two)) == ["duplicate.steroid-tablets"]


def test_a_stopped_course_counts_no_more_and_a_held_one_does(found):
    steroid = course("dexamethasone-0-1")
    assert found(steroid, course("prednisolone-acetate-1", state="stopped")) == []
    assert ids(found(steroid, course("prednisolone-acetate-1", state="held"))) == ["duplicate.steroid"]


def test_a_course_without_dates_is_taken_to_run_all_the_time(found):
    old = course("prednisolone-acetate-1", days=0, from_before=True)
    assert ids(found(old, course("dexamethasone-0-1", starts=60))) == ["duplicate.steroid"]


def test_a_medicine_outside_the_formulary_is_left_to_people(found):
    assert found(course("unheard-of-1"), course("dexamethasone-0-1")) == []
