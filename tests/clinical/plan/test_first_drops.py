"""The first drops of whoever works at night: in his first waking hours after the pad may come off."""

from __future__ import annotations

import pytest


def at(plan):
    return [first.at for first in plan.plan.first_drop_days]


@pytest.mark.parametrize(
    ("rise", "bedtime", "hour"),
    [
        ("16:00", "09:00", "07:00"),
        ("17:30", "08:30", "07:30"),
        ("14:00", "07:00", "07:00"),
        ("14:00", "06:00", None),
        ("06:00", "22:00", None),
        ("10:00", "02:00", None),
    ],
)
def test_the_first_drops_go_in_when_the_pad_may_come_off_and_not_after_the_days_sleep(
    someone, told, rise, bedtime, hour
):
    plan = told(someone(waking={"rise": rise, "bedtime": bedtime}))
    assert at(plan) == [hour]
    assert plan.starts("right:steroid") == 1
    assert any("first drops" in line for line in plan.plan.notices) is (hour is not None)


def test_without_a_pad_and_with_drops_from_today_nothing_waits(someone, told):
    operation = {"pad": False, "drops_from_today": True}
    assert at(told(someone(operation=operation, waking={"rise": "16:00", "bedtime": "09:00"}))) == [None]


def test_rafiq_does_not_wait_until_the_afternoon(case, told):
    assert at(told(case("rafiq"))) == ["07:00"]


def test_once_that_day_is_over_nothing_is_said_of_it_any_more(someone, told, on_day):
    record = someone(
        waking={"rise": "16:00", "bedtime": "09:00"}, trips=[{"date": on_day(1), "status": "fulfilled"}]
    )
    assert not [line for line in told(record, as_of=3).plan.notices if "first drops" in line]


@pytest.mark.parametrize(("bedtime", "more"), [("09:00", 1), ("06:00", 0)])
def test_the_round_before_the_first_sleep_comes_out_of_each_bottle_too(someone, told, bedtime, more):
    waking = {"rise": "16:00" if more else "14:00", "bedtime": bedtime}
    plan = told(someone(waking=waking)).plan
    assert [(b.course, b.number, b.drops) for b in plan.supply] == [
        ("right:steroid", 1, 70 + more),
        ("right:nsaid", 1, 28 + more),
        ("right:antibiotic", 1, 28 + more),
    ]


def test_a_drop_from_before_the_operation_has_no_round_more(someone, told):
    glaucoma = {"medicine": "dorzolamide-2", "eye": "right", "count_a_day": 3}
    night = told(someone(waking={"rise": "16:00", "bedtime": "09:00"}, in_use=[glaucoma])).plan
    early = told(someone(waking={"rise": "14:00", "bedtime": "06:00"}, in_use=[glaucoma])).plan
    drops = [[b.drops for b in plan.supply if b.course == "right:dorzolamide-2"] for plan in (night, early)]
    assert drops[0] == drops[1] != []


def test_of_single_doses_the_first_hand_over_holds_one_more_of_each(someone, told):
    waking, operation = {"rise": "16:00", "bedtime": "09:00"}, {"preservative_free": True}
    plan = told(someone(waking=waking, operation=operation)).plan
    assert {
        c.key: [sum(b.units for b in plan.supply if b.course == c.key), c.drops] for c in plan.courses
    } == {"right:steroid": [71, 70], "right:antibiotic": [29, 28], "right:nsaid": [57, 56]}


def test_of_two_eyes_each_has_its_own_round_more_and_none_of_the_other(someone, told, on_day):
    left = {"eye": "left", "eye_drawn": "left", "date": on_day(10)}
    plan = told(someone(waking={"rise": "16:00", "bedtime": "09:00"}, more_operations=[left]))
    assert at(plan) == ["07:00", "07:00"]
    drops = {(b.course, b.number): b.drops for b in plan.plan.supply if b.course.endswith("steroid")}
    assert drops == {("right:steroid", 1): 71, ("left:steroid", 1): 71}
