"""Drops and tablets from before the operation go on, by name, in the same day."""

from __future__ import annotations

import pytest

from followup.errors import FollowupError
from followup.typed import plain

DROP = {"medicine": "dorzolamide-2", "eye": "right", "count_a_day": 2}


def test_a_drop_goes_on_from_a_new_bottle_to_the_last_day_of_the_plan(someone, told):
    plan = told(someone(in_use=[DROP]))
    course = plan.course("right:dorzolamide-2")
    assert (course.from_before, course.state, course.role) == (True, "active", "pressure")
    assert plan.starts("right:dorzolamide-2") == 1
    assert plan.number(course.last_day) == plan.windows()["right:refraction"][2] == 56
    assert plan.opened("right:dorzolamide-2") == [1, 29]


def test_a_drop_for_both_eyes_is_two_courses_with_two_bottles(someone, told):
    plan = told(someone(in_use=[DROP | {"eye": "both"}]))
    assert plan.opened("right:dorzolamide-2") == plan.opened("left:dorzolamide-2") == [1, 29]


def test_what_stops_is_said_and_not_planned(someone, told):
    plan = told(someone(in_use=[DROP | {"continues": False}]))
    assert "right:dorzolamide-2" not in plan.courses()
    assert "Dorzolamide 2% from before the operation does not go on." in plan.plan.notices
    stopped = told(someone(in_use=[DROP | {"continues": False, "stopped_by": "Dr Osei"}]))
    (notice,) = [plain(n) for n in stopped.plan.notices if "Dorzolamide" in n]
    assert notice == "Dorzolamide 2% from before the operation is stopped, by Dr Osei."


def test_a_drop_that_nobody_can_name_is_asked_for_and_not_guessed(someone, told):
    plan = told(someone(in_use=[{"described": "a white bottle", "eye": "right"}]))
    assert plan.blocking() == {"in-use-name-0"}
    assert "a white bottle" in plan.question("in-use-name-0").text
    assert not plan.plan.signable


def test_a_drop_without_a_count_is_held_and_asked(someone, told):
    plan = told(someone(in_use=[{"medicine": "dorzolamide-2", "eye": "right"}], eye={"glaucoma": True}))
    assert plan.courses()["right:dorzolamide-2"] == "held"
    assert plan.blocking() == {"in-use-count-0"}
    assert all("dorzolamide" not in d.course for p in plan.plan.rounds for d in p.doses)


def test_times_that_the_patient_is_used_to_are_kept(someone, told):
    plan = told(someone(in_use=[{"medicine": "dorzolamide-2", "eye": "right", "times": ["07:00", "21:00"]}]))
    for phase in plan.plan.rounds:
        dose = next(d for d in phase.doses if d.course == "right:dorzolamide-2")
        assert dose.times == ("07:00", "21:00")


def test_a_time_between_the_rounds_moves_to_the_nearest_and_is_told(someone, told):
    plan = told(someone(in_use=[{"medicine": "dorzolamide-2", "eye": "right", "times": ["07:20", "21:00"]}]))
    assert any("07:20 moves to the round at 07:00" in notice for notice in plan.plan.notices)


def test_two_times_that_fall_on_one_round_still_give_both_drops(someone, told):
    plan = told(someone(in_use=[{"medicine": "carmellose-0-5", "eye": "right", "times": ["07:00", "07:20"]}]))
    dose = next(d for d in plan.plan.rounds[0].doses if d.course == "right:carmellose-0-5")
    assert len(dose.times) == 2


def test_a_last_day_in_the_record_ends_the_course(someone, told, on_day):
    plan = told(someone(in_use=[DROP | {"until": on_day(10)}]))
    assert plan.number(plan.course("right:dorzolamide-2").last_day) == 10
    over = told(someone(in_use=[DROP | {"until": on_day(0)}]))
    assert over.course("right:dorzolamide-2").steps == ()


def test_tablets_follow_the_steps_of_whoever_tapers_them(someone, told, on_day):
    tablets = {
        "medicine": "prednisolone-5-tablet",
        "route": "mouth",
        "count_a_day": 1,
        "mg": 20,
        "mg_steps": [{"starts": on_day(8), "mg": 10}, {"starts": on_day(15), "mg": 0}],
        "ordered_by": "Dr Osei",
    }
    steps = told(someone(in_use=[tablets])).course("mouth:prednisolone-5-tablet").steps
    assert [(s.days, s.mg) for s in steps] == [(7, 20), (7, 10)]


def test_tablets_of_steroid_need_someone_who_tapers_them(someone, told):
    tablets = {"medicine": "prednisolone-5-tablet", "route": "mouth", "count_a_day": 1, "mg": 20}
    assert told(someone(in_use=[tablets])).blocking() == {"in-use-ordered-by-0"}


def test_one_medicine_told_twice_is_two_courses_with_names_of_their_own(someone, told):
    plan = told(someone(in_use=[DROP, DROP | {"count_a_day": 1}]))
    assert {"right:dorzolamide-2", "right:dorzolamide-2-2"} <= set(plan.courses())
    assert [c for c in plan.plan.cautions if c.id.startswith("duplicate")]


def test_a_medicine_that_is_not_in_the_formulary_is_refused_by_its_field(someone, told):
    with pytest.raises(FollowupError) as caught:
        told(someone(in_use=[DROP | {"medicine": "wonder-drop-9"}]))
    assert caught.value.where == "record: in_use.0.medicine"
    assert "\n" not in caught.value.line


def test_a_steroid_drop_from_before_does_not_move_the_end_of_the_taper(someone, told):
    kept = {"medicine": "fluorometholone-0-1", "eye": "right", "count_a_day": 1}
    plan = told(someone(in_use=[kept], conditions={"diabetes": "with retinopathy"}))
    assert plan.number(plan.course("right:fluorometholone-0-1").last_day) == 90
    assert plan.last() == 28
    assert plan.windows()["right:refraction"] == (29, 35, 56)
    assert not plan.plan.signable
    assert [c for c in plan.plan.cautions if c.id.startswith("duplicate")]


def test_without_any_course_a_medicine_from_before_goes_on_to_the_last_look(someone, told):
    depot = {
        "medicine": "dexamethasone-depot",
        "place": "behind the iris",
        "form": "slow-release",
        "purpose": "treat",
        "fate": "left",
    }
    operation = {"steroid": [depot], "choices": {"depot_course": "no drops"}}
    plan = told(someone(operation=operation, in_use=[DROP]))
    assert plan.courses() == {"right:steroid": "stopped", "right:dorzolamide-2": "active"}
    assert plan.number(plan.course("right:dorzolamide-2").last_day) == plan.windows()["right:refraction"][2]


def test_a_late_plan_still_gives_a_medicine_from_before_one_bottles_life(someone, told):
    plan = told(someone(in_use=[DROP]), as_of=50)
    assert plan.number(plan.course("right:dorzolamide-2").last_day) == 50 + 27


@pytest.mark.parametrize(
    ("operation", "eye"),
    [
        ({}, {}),
        ({"cut_mm": 6.5, "procedure": "extracapsular", "stitches": 3}, {}),
        ({"vitreous_lost": True}, {}),
        ({"zonules_weak": True}, {"glaucoma": True}),
        ({}, {"uveitis": {"kind": "anterior", "never_quiet": True}}),
    ],
)
@pytest.mark.parametrize("as_of", [0, 20, 50])
def test_a_drop_goes_on_for_as_long_as_the_plan_follows_the_patient(someone, told, operation, eye, as_of):
    plan = told(someone(operation=operation, eye=eye, in_use=[DROP]), as_of=as_of)
    followed = [n.latest for n in plan.plan.needs] + [t.window_end for t in plan.plan.trips]
    assert plan.course("right:dorzolamide-2").last_day >= max(followed)
    assert plan.plan.rounds[-1].end >= max(followed)
    assert max(b.discard for b in plan.plan.supply if b.course == "right:dorzolamide-2") >= max(followed)


def test_a_refraction_that_hangs_on_late_stitches_still_finds_the_drop_in_the_plan(someone, told):
    large = {"cut_mm": 6.5, "procedure": "extracapsular", "stitches": 3}
    plan = told(someone(operation=large, in_use=[DROP]))
    assert plan.number(plan.course("right:dorzolamide-2").last_day) == 63 + 42
