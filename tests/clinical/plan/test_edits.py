"""What the surgeon changes runs from his day on, under his name, and everything else follows."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from followup.clinical.adjustments import CourseAdded, CourseEdit, NeedAdded
from followup.errors import FollowupError

DAY0 = date(2026, 3, 2)


def edit(course, starts, *steps, **more):
    given = {"reason": "cells 2+ on day 7", "by": "Dr Osei", **more}
    return CourseEdit(course=course, starts=DAY0 + timedelta(days=starts), steps=steps, **given)


def test_the_taper_before_the_change_stays_and_the_rest_is_replaced(someone, told):
    plan = told(someone(), as_of=8, edits=(edit("right:steroid", 8, (8, 7), (6, 7), (4, 7)),))
    assert plan.steps("right:steroid") == "4x7 8x7 6x7 4x7"
    assert plan.last() == 28


def test_looks_move_with_the_new_end_of_the_steroid(someone, told, on_day):
    looks = [{"date": on_day(d), "pressure": 15} for d in (1, 7)]
    longer = (edit("right:steroid", 8, (8, 7), (6, 7), (5, 7), (4, 7), (3, 7), (2, 7), (1, 7)),)
    plan = told(someone(reviews=looks), as_of=8, edits=longer)
    assert plan.last() == 56
    assert plan.windows()["right:refraction"] == (57, 63, 84)
    assert plan.windows()["right:pressure-on-steroid"] == (10, 57, 63)
    assert all(b.opened >= DAY0 for b in plan.plan.supply)
    assert sum(b.drops for b in plan.plan.supply if b.course == "right:steroid") == 28 + 7 * 29


def test_rounds_and_bottles_are_counted_again(someone, told):
    plan = told(someone(), as_of=8, edits=(edit("right:steroid", 8, (8, 20)),))
    assert len(plan.plan.rounds[0].times) == 8
    assert len(plan.opened("right:steroid")) == 2


def test_the_change_carries_the_surgeons_name_and_reason(someone, told):
    plan = told(someone(), as_of=8, edits=(edit("right:steroid", 8, (8, 7)),))
    reason = plan.course("right:steroid").reasons[-1]
    assert (reason.rule, reason.because, reason.source) == (
        "surgeon",
        "cells 2+ on day 7",
        "changed by Dr Osei",
    )


def test_no_steps_end_the_course_on_the_day_before(someone, told):
    plan = told(someone(), as_of=8, edits=(edit("right:nsaid", 8),))
    assert plan.steps("right:nsaid") == "2x7"


def test_the_last_of_several_changes_to_one_course_wins_from_its_day_on(someone, told):
    changes = (edit("right:steroid", 8, (6, 14)), edit("right:steroid", 15, (2, 7)))
    assert told(someone(), as_of=15, edits=changes).steps("right:steroid") == "4x7 6x7 2x7"


def test_the_antiviral_cover_follows_the_steroid_that_was_lengthened(someone, told):
    keratitis = {"year": 2019, "active_epithelial_disease": False, "antiviral_cover": True}
    record = someone(eye={"herpetic_keratitis": keratitis})
    before = told(record)
    assert before.number(before.course("mouth:antiviral").last_day) == 28 + 14
    longer = told(record, as_of=22, edits=(edit("right:steroid", 22, (2, 14), (1, 14)),))
    assert longer.last() == 49
    assert longer.number(longer.course("mouth:antiviral").last_day) == 49 + 14


def test_a_course_that_does_not_exist_cannot_be_changed(someone, told):
    with pytest.raises(FollowupError) as caught:
        told(someone(), edits=(edit("left:steroid", 8, (8, 7)),))
    assert "right:steroid" in caught.value.fix


def test_an_added_medicine_is_a_course_of_its_own_checked_like_any_other(someone, told):
    add = CourseAdded(
        eye="right",
        medicine="timolol-0-5",
        starts=DAY0 + timedelta(days=8),
        steps=((2, 14),),
        reason="27 mmHg",
        by="Dr Osei",
    )
    plan = told(someone(), as_of=8, edits=(add,))
    # Lungs and heart were not asked about: a beta-blocker waits for that answer.
    assert plan.courses()["right:timolol-0-5"] == "held"
    assert not plan.plan.signable
    sound = dict.fromkeys(
        ("asthma", "severe_airway_disease", "slow_heart", "heart_block", "heart_failure"), False
    )
    assert told(someone(conditions=sound), as_of=8, edits=(add,)).courses()["right:timolol-0-5"] == "active"
    asthma = told(someone(conditions={"asthma": True}), as_of=8, edits=(add,))
    assert any("beta-blocker" in c.id and c.level == "stop" for c in asthma.plan.cautions)
    with pytest.raises(FollowupError, match="no medicine"):
        told(someone(), edits=(add.model_copy(update={"medicine": "wonder-drop-9"}),))


def test_an_added_look_is_served_by_a_visit(someone, told):
    look = NeedAdded(
        eye="right",
        need="inflammation",
        earliest=DAY0 + timedelta(days=9),
        target=DAY0 + timedelta(days=10),
        latest=DAY0 + timedelta(days=11),
        reason="cells 2+",
        by="Dr Osei",
    )
    plan = told(someone(), as_of=8, edits=(look,))
    added = [n for n in plan.plan.needs if n.kind == "inflammation"]
    assert [plan.number(n.target) for n in added] == [10]
    assert 9 <= plan.trip_days("proposed")[0] <= 11


def test_a_course_let_go_later_runs_its_full_length_from_that_day(someone, told, on_day):
    released = [{"course": "nsaid", "on": on_day(4)}]
    plan = told(someone(operation={"released": released}))
    assert plan.steps("right:nsaid") == "2x14"
    assert plan.starts("right:nsaid") == 4
    assert plan.starts("right:steroid") == 1


@pytest.mark.parametrize("times", ["06 10 16 22", "06 12 17 22"])
def test_the_times_of_the_sheet_in_force_are_kept_unless_new_ones_earn_their_trouble(someone, told, times):
    in_force = frozenset(f"{hour}:00" for hour in times.split())
    assert told(someone(), previous_times=in_force).rounds()[0] == (1, 7, times)
    far_off = frozenset({"07:00", "08:00", "09:00", "10:00"})
    assert told(someone(), previous_times=far_off).rounds()[0][2] != "07 08 09 10"


def test_one_medicine_added_twice_is_two_courses_with_keys_of_their_own(someone, told):
    def add(starts):
        return CourseAdded(
            eye="right",
            medicine="carmellose-0-5",
            starts=DAY0 + timedelta(days=starts),
            steps=((4, 7),),
            reason="gritty",
            by="Dr Osei",
        )

    plan = told(someone(), as_of=8, edits=(add(8), add(30)))
    assert (plan.starts("right:carmellose-0-5"), plan.starts("right:carmellose-0-5-2")) == (8, 30)


def test_an_added_look_of_no_known_kind_is_refused(someone, told):
    look = NeedAdded(
        eye="right", need="horoscope", earliest=DAY0, target=DAY0, latest=DAY0, reason="none", by="Dr Osei"
    )
    with pytest.raises(FollowupError, match='no kind of look "horoscope"'):
        told(someone(), edits=(look,))


def test_a_held_course_takes_no_drop_on_the_day_of_surgery(someone, told):
    today = {"pad": False, "drops_from_today": True, "start": "09:00", "end": "09:20", "watertight": False}
    plan = told(someone(operation=today))
    assert plan.courses()["right:nsaid"] == "held"
    assert plan.opened("right:nsaid") == []
    assert plan.opened("right:steroid") == [0]


@pytest.mark.parametrize("role", ["nsaid", "antibiotic"])
def test_the_surgeons_own_product_takes_the_place_of_the_usual_one(someone, told, role):
    product = {"nsaid": "ketorolac-0-5", "antibiotic": "moxifloxacin-0-5"}[role]
    plan = told(someone(operation={"products": [{"role": role, "medicine": product}]}))
    assert plan.course(f"right:{role}").medicine == product
    assert plan.steps(f"right:{role}") == {"nsaid": "4x14", "antibiotic": "4x7"}[role]
