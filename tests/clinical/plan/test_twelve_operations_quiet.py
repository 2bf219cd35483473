"""The twelve operations, first part: quiet eyes. Days count from the operation (0)."""

from __future__ import annotations

import pytest


@pytest.fixture
def wanjiru(case, told):
    return told(case("wanjiru"))


def test_wanjiru_takes_the_routine_taper_the_antibiotic_and_two_weeks_of_nsaid(wanjiru):
    assert wanjiru.steps("right:steroid") == "4x7 3x7 2x7 1x7"
    assert wanjiru.course("right:steroid").taper == "R"
    assert wanjiru.course("right:steroid").drops == 70
    assert wanjiru.steps("right:antibiotic") == "4x7"
    assert wanjiru.steps("right:nsaid") == "2x14"
    assert wanjiru.starts("right:steroid") == 1
    assert wanjiru.last() == 28


def test_wanjiru_sits_down_four_three_two_and_one_times_a_day(wanjiru):
    assert wanjiru.rounds() == [
        (1, 7, "06 11 17 22"),
        (8, 14, "06 17 22"),
        (15, 21, "06 17"),
        (22, 28, "06"),
    ]


def test_wanjiru_needs_one_bottle_of_each(wanjiru):
    for key in ("right:steroid", "right:nsaid", "right:antibiotic"):
        assert wanjiru.opened(key) == [1]
    assert {b.handed_over_trip for b in wanjiru.plan.supply} == {None}


def test_wanjiru_comes_three_times_and_one_visit_serves_pressure_and_glasses(wanjiru):
    assert wanjiru.windows() == {
        "right:first-look": (1, 1, 2),
        "right:wound": (5, 7, 9),
        "right:pressure-on-steroid": (10, 29, 35),
        "right:refraction": (29, 35, 56),
    }
    assert wanjiru.trip_days()[:2] == [1, 7]
    assert len(wanjiru.trip_days()) == 3
    assert 29 <= wanjiru.trip_days()[2] <= 35
    assert wanjiru.plan.trips[2].serves == ("right:pressure-on-steroid", "right:refraction")


def test_wanjiru_leaves_nothing_to_ask_and_can_be_signed(wanjiru):
    assert wanjiru.asks() == set()
    assert wanjiru.plan.signable
    assert wanjiru.plan.status == "draft"
    assert not wanjiru.plan.approved


@pytest.fixture
def tom(case, told):
    return told(case("tom"))


def test_tom_gets_the_nsaid_with_a_diabetic_label_for_sixty_days(tom):
    assert tom.course("left:nsaid").medicine == "nepafenac-0-1"
    assert tom.steps("left:nsaid") == "3x60"
    assert tom.opened("left:nsaid") == [1, 29, 57]
    assert tom.steps("left:steroid") == "4x7 3x7 2x7 1x7"
    assert tom.lost() == {"nsaid-routine": "nsaid-retinopathy", "nsaid-diabetes": "nsaid-retinopathy"}


def test_toms_macula_is_looked_at_twice_at_least_four_weeks_apart(tom):
    assert tom.windows()["left:macula-1"] == (28, 35, 42)
    first, second = (tom.need(f"left:macula-{i}") for i in (1, 2))
    served = [next(t.date for t in tom.plan.trips if n.key in t.serves) for n in (first, second)]
    assert (served[1] - served[0]).days >= 28
    assert second.after == "left:macula-1"


def test_tom_is_not_given_a_carbonic_anhydrase_inhibitor_without_a_question(case, told):
    record = case("tom")
    record["in_use"] = [{"medicine": "dorzolamide-2", "eye": "left", "count_a_day": 2}]
    assert [c for c in told(record).plan.cautions if "sulfonamide" in c.id]


@pytest.fixture
def lakshmi(case, told):
    record = case("lakshmi")
    # What the surgeon says when asked about the looks of the first days at her right eye.
    record["reviews"] = [{"eye": "right", "date": day} for day in ("2026-02-21", "2026-02-27")]
    return told(record)


def test_lakshmis_left_eye_starts_while_her_right_goes_on(lakshmi):
    assert lakshmi.steps("left:steroid") == "4x7 3x7 2x7 1x7"
    assert lakshmi.steps("left:antibiotic") == "4x7"
    assert lakshmi.steps("left:nsaid") == "2x14"
    right = {d: n for d, n in lakshmi.by_day("right:steroid").items() if d >= 1}
    assert right == {**dict.fromkeys(range(1, 5), 3), **dict.fromkeys(range(5, 12), 2)} | dict.fromkeys(
        range(12, 19), 1
    )
    assert sum(right.values()) == 33


def test_lakshmis_bottles_each_have_their_eye_and_the_left_ones_are_new(lakshmi):
    assert lakshmi.opened("left:steroid") == [1]
    assert lakshmi.opened("right:steroid") == [-9]
    assert {b.course.split(":")[0] for b in lakshmi.plan.supply} == {"left", "right"}


def test_lakshmi_comes_three_times_for_both_eyes(lakshmi):
    assert lakshmi.trip_days("proposed") == [1, 7, 29]
    assert lakshmi.windows()["right:refraction"] == (19, 25, 46)
    assert lakshmi.trip(29).serves == ("left:pressure-on-steroid", "left:refraction", "right:refraction")
    assert lakshmi.windows("served") == {"right:first-look": (-9, -9, -8), "right:wound": (-5, -3, -1)}
    assert lakshmi.plan.signable


def test_lakshmis_day_holds_the_drops_of_both_eyes(lakshmi):
    first = lakshmi.plan.rounds[0]
    assert {d.course: d.count for d in first.doses} == {
        "right:steroid": 3,
        "right:nsaid": 2,
        "left:steroid": 4,
        "left:nsaid": 2,
        "left:antibiotic": 4,
    }
    assert (lakshmi.number(first.start), lakshmi.number(first.end)) == (1, 4)
    assert len(first.times) == 4


@pytest.fixture
def rafiq(case, told):
    return told(case("rafiq"))


def test_rafiqs_day_begins_at_four_in_the_afternoon_and_ends_after_midnight(rafiq):
    assert rafiq.rounds() == [
        (1, 7, "16 21 03 09"),
        (8, 14, "16 03 09"),
        (15, 21, "16 03"),
        (22, 28, "16"),
    ]
    assert rafiq.steps("left:steroid") == "4x7 3x7 2x7 1x7"


def test_rafiqs_very_long_young_eye_is_checked_every_two_weeks_and_its_retina_once(rafiq):
    assert rafiq.plan.tiers == {"left": "A"}
    assert rafiq.lost()["tier-middle"] == "tier-high"
    assert rafiq.windows() == {
        "left:first-look": (1, 1, 1),
        "left:wound": (5, 7, 9),
        "left:pressure-early": (10, 14, 14),
        "left:pressure-end": (29, 29, 35),
        "left:refraction": (29, 35, 56),
        "left:retina-long-eye": (28, 35, 56),
    }
    assert len(rafiq.trip_days()) == 4


def test_li_is_a_child_and_refused_kindly_with_the_reason_but_never_lost(case, told):
    li = told(case("li"))
    assert li.plan.status == "on-hold"
    assert [c.id for c in li.plan.refused] == ["child"]
    assert "by hand" in li.plan.refused[0].text
    assert li.plan.refused[0].reasons[0].because
    assert li.plan.courses == ()
    assert li.plan.supply == ()
    assert li.windows() == {"right:first-look": (1, 1, 1)}
    assert li.trip_days() == [1]
    assert not li.plan.signable
