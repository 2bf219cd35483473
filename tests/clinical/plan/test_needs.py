"""Review windows: from which day they count, who wins, and how they move. Day 0 is the operation."""

from __future__ import annotations

import pytest

TODAY = {"pad": False, "drops_from_today": True}


def test_an_uneventful_eye_may_be_seen_on_the_first_or_second_day(someone, told):
    assert told(someone()).windows()["right:first-look"] == (1, 1, 2)
    assert not told(someone()).need("right:first-look").urgent


@pytest.mark.parametrize(
    "parts",
    [
        {"eye": {"only_seeing": True}},
        {"operation": {"capsule_torn": True}},
        {"eye": {"glaucoma": True}},
        {"eye": {"pseudoexfoliation": True}},
        {"eye": {"uveitis": {"last_active": "2025-01-01"}}},
        {"operation": {"chamber": "shallow"}},
        {"operation": {"chamber": None}},
        {"relative_pressure": True},
        {"birth_date": "1977-01-01"},
    ],
)
def test_an_eye_with_something_is_seen_within_a_day(someone, told, parts):
    plan = told(someone(**parts))
    assert plan.windows()["right:first-look"] == (1, 1, 1)
    assert plan.need("right:first-look").urgent
    assert plan.lost()["first-look"] == "first-look-next-day"


def test_drops_from_the_day_itself_move_what_counts_from_them(someone, told):
    now, tomorrow = told(someone(operation=TODAY)), told(someone())
    assert (now.starts("right:steroid"), tomorrow.starts("right:steroid")) == (0, 1)
    assert (now.last(), tomorrow.last()) == (27, 28)
    assert now.windows()["right:pressure-on-steroid"] == (9, 28, 34)
    assert tomorrow.windows()["right:pressure-on-steroid"] == (10, 29, 35)
    assert now.windows()["right:wound"] == tomorrow.windows()["right:wound"] == (5, 7, 9)


@pytest.mark.parametrize(
    ("operation", "first"),
    [
        ({"pad": True, "drops_from_today": True}, 1),
        ({"pad": True, "antibiotic_in_chamber": False}, 1),
        ({"pad": False, "antibiotic_in_chamber": False}, 0),
        ({"pad": False, "antibiotic_in_chamber": None}, 1),
        ({"pad": None, "drops_from_today": True}, 1),
        ({"pad": False}, 1),
    ],
)
def test_drops_begin_today_only_without_a_pad_and_for_a_reason(someone, told, operation, first):
    plan = told(someone(operation=operation))
    assert plan.starts("right:steroid") == first
    assert plan.number(plan.plan.rounds[0].start) == first
    assert [plan.number(f.day) for f in plan.plan.first_drop_days] == [first]


def test_the_day_itself_loses_only_the_rounds_already_past(someone, told):
    plan = told(someone(operation={**TODAY, "start": "15:00", "end": "15:30"}))
    (bottle,) = (b for b in plan.plan.supply if b.course == "right:steroid")
    times = next(d.times for d in plan.plan.rounds[0].doses if d.course == "right:steroid")
    past = sum(clock < "15:30" for clock in times)
    assert past > 0
    assert bottle.drops == 70 - past


def test_glasses_wait_for_the_steroid_to_end(someone, told):
    event = {"cornea_touched": True}
    assert told(someone()).windows()["right:refraction"] == (29, 35, 56)
    assert told(someone(operation=event)).windows()["right:refraction"] == (43, 49, 70)


def test_glasses_wait_longer_for_a_large_cut(someone, told):
    large = {"procedure": "manual small-incision", "cut_mm": 6.5}
    assert told(someone(operation=large)).windows()["right:refraction"] == (56, 63, 84)


@pytest.mark.parametrize(("cut", "large"), [(4.9, False), (5.0, True), (None, False)])
def test_a_large_cut_begins_at_five_millimetres(someone, told, cut, large):
    earliest = told(someone(operation={"cut_mm": cut})).windows()["right:refraction"][0]
    assert earliest == (56 if large else 29)


def test_a_large_cut_technique_without_a_length_counts_as_large(someone, told):
    untold = someone(operation={"procedure": "extracapsular", "cut_mm": None})
    assert told(untold).windows()["right:refraction"][0] == 56


def test_one_stitch_of_a_small_cut_comes_out_early_and_glasses_follow(someone, told):
    plan = told(someone(operation={"stitches": 1}))
    assert plan.windows()["right:stitches"] == (21, 28, 42)
    out = next(plan.number(t.date) for t in plan.plan.trips if "right:stitches" in t.serves)
    assert plan.windows()["right:refraction"] == (out + 14, max(35, out + 21), max(56, out + 42))
    assert plan.need("right:refraction").after == "right:stitches"


def test_five_stitches_of_a_large_cut_come_out_after_six_weeks(someone, told):
    plan = told(someone(operation={"stitches": 5, "cut_mm": 10, "procedure": "extracapsular"}))
    assert plan.windows()["right:stitches"] == (42, 49, 63)
    out = next(plan.number(t.date) for t in plan.plan.trips if "right:stitches" in t.serves)
    assert plan.windows()["right:refraction"][0] == max(56, out + 14)


def test_without_stitches_there_is_nothing_to_take_out(someone, told):
    large = told(someone(operation={"procedure": "manual small-incision", "cut_mm": 6.5, "stitches": 0}))
    assert "right:stitches" not in large.windows()


@pytest.mark.parametrize(
    ("eye", "tier", "pressure"),
    [
        ({}, "C", {"right:pressure-on-steroid": (10, 29, 35)}),
        (
            {"pseudoexfoliation": True},
            "B",
            {"right:pressure-early": (10, 14, 14), "right:pressure-end": (29, 29, 35)},
        ),
        ({"glaucoma": True}, "A", {"right:pressure-early": (10, 14, 14), "right:pressure-end": (29, 29, 35)}),
    ],
)
def test_pressure_looks_follow_the_tier(someone, told, eye, tier, pressure):
    plan = told(someone(eye=eye))
    assert plan.plan.tiers == {"right": tier}
    assert {k: v for k, v in plan.windows().items() if "pressure" in k} == pressure


def test_in_uveitis_the_end_of_the_taper_is_the_pressure_check(someone, told):
    plan = told(someone(eye={"uveitis": {"last_active": "2025-01-01"}}))
    assert plan.windows()["right:taper-end"] == (78, 81, 84)
    assert "right:pressure-end" not in plan.windows()


@pytest.mark.parametrize(
    ("parts", "key", "window"),
    [
        ({"operation": {"watertight": False}}, "leak-2", (3, 3, 3)),
        ({"operation": {"bandage_lens": True}}, "bandage-lens", (3, 7, 14)),
        ({"operation": {"air_or_gas": "gas"}}, "cornea", (1, 1, 1)),
        ({"operation": {"descemet_loose": True}}, "cornea", (1, 1, 1)),
        ({"operation": {"lens": "none"}}, "second-operation", (28, 42, 84)),
        ({"operation": {"lens": "front chamber"}}, "iridotomy", (1, 1, 1)),
        ({"operation": {"zonules_weak": True}}, "zonules-3", (60, 84, 90)),
        ({"operation": {"lens_left": "chamber"}}, "lens-piece-2", (2, 3, 4)),
        ({"operation": {"lens_left": "chamber", "lens_left_hard": True}}, "surgeon-hard-piece", (1, 3, 7)),
        ({"operation": {"lens_left": "vitreous"}}, "retina-surgeon", (1, 3, 7)),
        ({"operation": {"vitrectomy": True}}, "retina-2", (30, 45, 60)),
        ({"eye": {"axial_length_mm": 26.0}}, "retina-long-eye", (28, 35, 56)),
        (
            {"eye": {"axial_length_mm": 25.1}, "sex": "male", "birth_date": "1968-01-01"},
            "retina-long-eye",
            (28, 35, 56),
        ),
        ({"eye": {"vein_occlusion": True}}, "macula-1", (28, 35, 42)),
    ],
)
def test_what_happened_brings_its_own_look(someone, told, parts, key, window):
    assert told(someone(**parts)).windows()[f"right:{key}"] == window
    assert f"right:{key}" not in told(someone()).windows()


@pytest.mark.parametrize(
    ("patient", "wanted"),
    [
        ({"sex": "male", "birth_date": "1966-03-03"}, True),
        ({"sex": "male", "birth_date": "1966-03-02"}, False),
        ({"sex": "female", "birth_date": "1970-01-01"}, False),
        ({"sex": None, "birth_date": "1970-01-01"}, True),
    ],
)
def test_a_longish_eye_is_looked_into_only_in_a_younger_man(someone, told, patient, wanted):
    plan = told(someone(eye={"axial_length_mm": 25.5}, **patient))
    assert ("right:retina-long-eye" in plan.windows()) is wanted


def test_a_check_before_leaving_has_clock_times_also_past_midnight(someone, told):
    torn = {"capsule_torn": True}
    (late,) = told(someone(operation={**torn, "end": "19:30"})).plan.before_leaving
    assert (late.earliest, late.latest) == ("22:30", "02:30")
    (untold,) = told(someone(operation=torn)).plan.before_leaving
    assert (untold.earliest, untold.latest) == (None, None)
    assert told(someone()).plan.before_leaving == ()


@pytest.mark.parametrize(("hours", "stays"), [(2, False), (2.5, True)])
def test_who_lives_over_two_hours_away_stays_the_night_where_pressure_may_peak(someone, told, hours, stays):
    plan = told(someone(eye={"glaucoma": True}, travel={"hours": hours}))
    assert ("stay-the-night" in plan.cautions()) is stays
    assert "stay-the-night" not in told(someone(travel={"hours": 9})).cautions()
