"""What a failing clinical test says: the look, the eye and the days, as a clinician would say them."""

from __future__ import annotations

import pytest
from in_words import in_words


def test_a_look_in_another_window_is_named_with_its_eye_and_days(someone, told):
    plan = told(someone(conditions={"diabetes": "without retinopathy"}))
    assert in_words("==", plan.windows()["right:macula-2"], (63, 84, 91)) == [
        "second macula look, right eye: planned day 63 to 90, aimed at day 84; "
        "expected day 63 to 91, aimed at day 84"
    ]
    picked = {"right:macula-2": plan.windows()["right:macula-2"]}
    assert in_words("==", picked, {}) == [
        "second macula look, right eye: planned day 63 to 90, aimed at day 84; expected no such look"
    ]
    others = {**plan.windows(), "right:first-look": (1, 1, 1), "right:stitches": (42, 49, 63)}
    assert in_words("==", plan.windows(), others) == [
        "first look, right eye: planned day 1 to 2, aimed at day 1; expected day 1",
        "stitches look, right eye: planned no such look; expected day 42 to 63, aimed at day 49",
    ]


@pytest.mark.parametrize("turned", [False, True])
def test_steps_last_days_and_visits_are_told_as_such_on_whichever_side_they_stand(someone, told, turned):
    plan = told(someone())
    for found, wanted, said in (
        (
            plan.steps("right:steroid"),
            "4x7 3x7",
            "steroid, right eye: planned 4 a day for 7 days, then 3 for 7, then 2 for 7, then 1 for 7; "
            "expected 4 a day for 7 days, then 3 for 7",
        ),
        (plan.last(), 29, "last day of the steroid, right eye: planned day 28; expected day 29"),
        (plan.trip_days(), [1, 7], "visits: planned on day 1, 7, 29; expected on day 1, 7"),
    ):
        assert in_words("==", *((wanted, found) if turned else (found, wanted))) == [said]


def test_what_is_no_figure_of_a_plan_is_left_to_pytest(someone, told):
    assert in_words("==", 28, 29) is None
    assert in_words("<=", told(someone()).last(), 20) is None
    assert in_words("==", told(someone()).windows()["right:first-look"], 7) is None
