"""What the trade brings together: several things in one eye, both eyes, a second operation."""

from __future__ import annotations

import pytest

QUIET_UVEITIS = {"uveitis": {"kind": "anterior", "last_active": "2025-01-01"}}
TORN = {"capsule_torn": True, "vitreous_lost": True, "vitrectomy": True, "lens": "sulcus"}
DEPOT = {
    "medicine": "dexamethasone-depot",
    "mg": 0.5,
    "place": "behind the iris",
    "form": "slow-release",
    "purpose": "treat",
    "fate": "left",
}
SOLUTION = {
    "medicine": "dexamethasone-injection",
    "place": "chamber",
    "form": "solution",
    "purpose": "treat",
    "fate": "left",
}
CRYSTALS = {
    "medicine": "triamcinolone-injection",
    "place": "chamber",
    "form": "crystals",
    "purpose": "treat",
    "fate": "washed out",
    "crystals_seen_after": False,
}


def test_uveitis_torn_capsule_and_lost_vitreous_take_the_longest_of_each(someone, told):
    plan = told(someone(eye=QUIET_UVEITIS, operation=TORN))
    assert plan.course("right:steroid").taper == "U"
    assert plan.steps("right:steroid") == "16x3 8x4 6x7 5x7 4x14 3x14 2x14 1x14"
    assert plan.steps("right:nsaid") == "2x42"
    assert plan.steps("right:antibiotic") == "4x14"
    assert plan.lost()["steroid-event"] == "steroid-uveitis-quiet"
    assert plan.lost()["antibiotic-routine"] == "antibiotic-vitreous"
    assert {"right:retina-1", "right:lens-position-1", "right:taper-end", "right:macula-1"} <= set(
        plan.windows()
    )


def test_inflammation_sets_the_envelope_and_never_the_sum(someone, told):
    piece = {"lens_left": "vitreous"}
    with_both = told(someone(eye=QUIET_UVEITIS, operation=piece)).steroid()
    uveitis, lens = told(someone(eye=QUIET_UVEITIS)).steroid(), told(someone(operation=piece)).steroid()
    assert with_both == {day: max(uveitis.get(day, 0), lens.get(day, 0)) for day in uveitis | lens}
    assert max(with_both.values()) == 16


@pytest.mark.parametrize(
    ("last_active", "never_quiet", "taper"),
    [
        ("2025-12-02", None, "U"),  # 90 days
        ("2025-12-03", None, "U"),  # 89
        ("2026-01-31", None, "U"),  # 30
        ("2026-02-01", None, "UA"),  # 29
        (None, None, "UA"),
        ("2024-01-01", True, "UA"),
    ],
)
def test_the_start_of_the_uveitis_course_hangs_on_the_days_of_quiet(
    someone, told, last_active, never_quiet, taper
):
    uveitis = {"kind": "anterior", "last_active": last_active, "never_quiet": never_quiet}
    plan = told(someone(eye={"uveitis": uveitis}))
    assert plan.course("right:steroid").taper == taper
    quiet_90 = last_active == "2025-12-02"
    assert ("right:inflammation-early" in plan.windows()) is not quiet_90


@pytest.mark.parametrize(
    ("change", "taper"),
    [
        ({}, "UW"),
        ({"crystals_seen_after": True}, "U"),
        ({"crystals_seen_after": None}, "UW"),
        ({"purpose": "show vitreous"}, "U"),
        ({"purpose": "prevent"}, "U"),
        ({"fate": "left"}, "U"),
    ],
)
def test_only_steroid_washed_through_and_out_lightens_the_start(someone, told, change, taper):
    plan = told(someone(eye=QUIET_UVEITIS, operation={"steroid": [CRYSTALS | change]}))
    assert plan.course("right:steroid").taper == taper


@pytest.mark.parametrize(
    ("uveitis", "fibrin"), [({"last_active": "2026-01-01"}, False), ({"last_active": "2025-01-01"}, True)]
)
def test_no_lighter_start_within_90_days_or_with_fibrin(someone, told, uveitis, fibrin):
    plan = told(someone(eye={"uveitis": uveitis}, operation={"steroid": [CRYSTALS], "fibrin": fibrin}))
    assert "UW" not in plan.course("right:steroid").taper


def test_washing_out_never_lowers_the_start_under_the_course_of_an_event(someone, told):
    washed = told(
        someone(eye=QUIET_UVEITIS, operation={"steroid": [CRYSTALS], "lens_left": "vitreous"})
    ).steroid()
    event = told(someone(operation={"lens_left": "vitreous"})).steroid()
    assert all(washed[day] >= count for day, count in event.items())


def test_whether_crystals_were_seen_is_asked_and_blocks(someone, told):
    plan = told(someone(eye=QUIET_UVEITIS, operation={"steroid": [CRYSTALS | {"crystals_seen_after": None}]}))
    assert "ask-crystals" in plan.blocking()


def test_a_solution_left_in_the_chamber_changes_nothing(someone, told):
    assert told(someone(operation={"steroid": [SOLUTION]})).steroid() == told(someone()).steroid()


@pytest.mark.parametrize(
    "parts",
    [
        {"eye": QUIET_UVEITIS},
        {"operation": {"bleeding": True}},
        {"eye": {"glaucoma": True}},
        {"eye": {"steroid_responder": True}},
        {"eye": {"herpetic_keratitis": {"year": 2019}}},
    ],
)
def test_a_depot_shortens_only_a_quiet_eye_without_event_glaucoma_or_response(someone, told, parts):
    operation = {"steroid": [DEPOT], "choices": {"depot_course": "no drops"}, **parts.get("operation", {})}
    plan = told(someone(operation=operation, eye=parts.get("eye", {})))
    assert sum(plan.steroid().values()) >= 24
    assert "right:depot-4" in plan.windows()


def test_crystals_that_were_seen_are_watched_like_a_depot(someone, told):
    seen = told(someone(operation={"steroid": [CRYSTALS | {"crystals_seen_after": True}]}))
    assert [seen.windows()[f"right:depot-{i}"] for i in (3, 4)] == [(19, 21, 23), (33, 35, 37)]
    assert "right:depot-1" not in told(someone(operation={"steroid": [CRYSTALS]})).windows()


@pytest.mark.parametrize("eye", [{"axial_length_mm": 30.0}, {"pseudoexfoliation": True}])
def test_a_depot_without_drops_keeps_the_early_check_of_an_eye_at_risk(someone, told, eye):
    operation = {"steroid": [DEPOT], "choices": {"depot_course": "no drops"}, "stitches": 1}
    plan = told(someone(operation=operation, eye=eye, birth_date="1970-01-01"))
    assert plan.windows()["right:pressure-early"] == (10, 14, 14)
    with_drops = told(someone(operation={"stitches": 1}, eye=eye, birth_date="1970-01-01"))
    assert len(plan.trip_days()) >= len(with_drops.trip_days())


def test_steroid_inside_the_eye_of_a_responder_is_asked_about_and_never_guessed(someone, told):
    responder = {"eye": {"steroid_responder": True}}
    asked = told(someone(**responder, operation={"steroid": [SOLUTION]}))
    assert "ask-steroid-in-responder" in asked.blocking()
    assert asked.courses()["right:steroid"] == "held"
    choices = {"steroid_in_responder": "no drops", "responder_course": "A"}
    unexplained = told(someone(**responder, operation={"steroid": [SOLUTION], "choices": choices}))
    assert unexplained.courses()["right:steroid"] == "held"
    assert "no-steroid-drop" in unexplained.blocking()
    decided = {"no_steroid_drop": {"why": "the dose inside the eye is enough", "decided_by": "Dr Osei"}}
    answered = told(someone(**responder, operation={"steroid": [SOLUTION], "choices": choices} | decided))
    assert answered.courses()["right:steroid"] == "stopped"
    assert answered.course("right:steroid").reasons[-1].rule == "no-steroid-drops-for-responder"
    assert "right:pressure-early" in answered.windows()
    assert answered.last() is None


def test_a_responder_with_an_event_keeps_the_course_of_the_event_and_tier_a(someone, told):
    plan = told(someone(eye={"steroid_responder": True}, operation={"bleeding": True}))
    assert plan.course("right:steroid").taper == "E"
    assert "ask-responder-course" not in plan.asks()
    assert plan.plan.tiers == {"right": "A"}


def test_a_lens_piece_in_the_vitreous_starts_at_eight_and_goes_to_the_retina_surgeon(someone, told):
    plan = told(someone(operation={"lens_left": "vitreous"}))
    assert plan.steps("right:steroid") == "8x7 6x7 5x7 4x7 3x7 2x7 1x7"
    assert plan.need("right:retina-surgeon").service == "retina surgeon"
    assert plan.need("right:retina-surgeon").urgent


def test_manual_surgery_through_a_large_self_sealing_cut_is_an_event_without_stitches(someone, told):
    plan = told(someone(operation={"procedure": "manual small-incision", "cut_mm": 6.5, "stitches": 0}))
    assert plan.course("right:steroid").taper == "E"
    assert plan.steps("right:nsaid") == "2x28"
    assert "right:stitches" not in plan.windows()
    assert plan.windows()["right:refraction"] == (56, 63, 84)


def test_gas_forbids_flying_and_a_bandage_lens_forbids_ointment(someone, told):
    plan = told(someone(operation={"air_or_gas": "gas", "bandage_lens": True}))
    assert plan.caution("gas-no-flying").sheet == "no-flying"
    assert plan.caution("bandage-lens-caution").sheet == "bandage-lens"
    assert "gas-no-flying" not in told(someone(operation={"air_or_gas": "air"})).cautions()


def test_a_leaking_wound_holds_the_nsaid_and_leaves_the_steroid(someone, told):
    plan = told(someone(operation={"watertight": False}))
    assert plan.courses()["right:nsaid"] == "held"
    assert plan.steps("right:steroid") == "4x7 3x7 2x7 1x7"


@pytest.mark.parametrize("answer", ["give", "do not give", None])
def test_the_pupil_drop_is_held_at_a_narrow_angle_and_never_dropped_silently(someone, told, answer):
    operation = {"chamber": "shallow", "choices": {"cycloplegic": answer}}
    plan = told(someone(eye=QUIET_UVEITIS, operation=operation))
    state = {"give": "active", "do not give": "stopped", None: "held"}[answer]
    assert plan.courses()["right:cycloplegic"] == state


def test_held_courses_count_for_looks_but_not_for_rounds_and_bottles(someone, told):
    held = told(someone(eye={"steroid_responder": True}))
    assert held.courses()["right:steroid"] == "held"
    assert held.last() == 28
    assert "right:pressure-end" in held.windows()
    assert held.opened("right:steroid") == []
    assert {d.course for p in held.plan.rounds for d in p.doses} == {"right:antibiotic", "right:nsaid"}


BOTH = [{"eye": "left", "eye_drawn": "left"}]


def test_two_eyes_on_one_day_share_rounds_and_visits_but_no_bottle(someone, told):
    plan = told(someone(more_operations=BOTH))
    assert plan.trip_days() == [1, 7, 29]
    assert len(plan.plan.rounds[0].times) == 4
    assert plan.opened("right:steroid") == plan.opened("left:steroid") == [1]


def test_two_eyes_are_planned_apart(someone, told):
    plan = told(someone(more_operations=BOTH, other_eye=QUIET_UVEITIS))
    assert plan.course("right:steroid").taper == "R"
    assert plan.course("left:steroid").taper == "U"
    assert plan.plan.tiers == {"right": "C", "left": "B"}
    assert plan.windows()["right:refraction"] == (29, 35, 56)


def test_an_eye_that_starts_today_is_in_todays_rounds_though_the_other_starts_tomorrow(someone, told):
    today = {"pad": False, "drops_from_today": True}
    plan = told(someone(operation=today, more_operations=BOTH))
    assert plan.number(plan.plan.rounds[0].start) == 0
    assert {d.course.split(":")[0] for d in plan.plan.rounds[0].doses} == {"right"}
    assert (plan.starts("right:steroid"), plan.starts("left:steroid")) == (0, 1)


def test_a_second_operation_on_one_eye_replaces_the_first_plan(someone, told, on_day):
    again = {"date": on_day(20), "procedure": "secondary lens", "cornea_touched": True}
    plan = told(someone(operation={"lens": "none"}, more_operations=[again]))
    assert plan.starts("right:steroid") == 1
    assert plan.course("right:steroid").taper == "E"
    assert "right:second-operation" not in plan.windows()
    assert any("operated again" in notice for notice in plan.plan.notices)


def test_follow_up_that_was_over_before_the_other_eyes_operation_is_not_planned_again(someone, told, on_day):
    plan = told(someone(more_operations=[{"eye": "left", "eye_drawn": "left", "date": on_day(300)}]))
    assert {c.eye for c in plan.plan.courses} == {"left"}
    assert any("is over" in notice for notice in plan.plan.notices)
    assert plan.plan.signable


def test_a_shift_workers_hourly_drops_fit_his_waking_day(someone, told):
    plan = told(someone(eye=QUIET_UVEITIS, waking={"rise": "18:00", "bedtime": "08:00"}))
    assert plan.steps("right:steroid").startswith("14x3 7x4 6x7")
    assert "00:00" in plan.plan.rounds[0].times


@pytest.mark.parametrize(("rise", "bedtime"), [("06:00", "17:00"), ("04:00", "23:30"), ("06:00", "06:00")])
def test_a_day_that_is_too_short_or_too_long_is_asked_about(someone, told, rise, bedtime):
    plan = told(someone(waking={"rise": rise, "bedtime": bedtime}))
    assert plan.blocking() == {"waking-day"}
    assert plan.rounds()[0][2] == "06 11 17 22"


def test_a_child_among_the_strangest_records_is_still_refused(someone, told):
    plan = told(someone(birth_date="2015-01-01", operation=TORN, eye=QUIET_UVEITIS, more_operations=BOTH))
    assert plan.plan.status == "on-hold"
    assert plan.plan.courses == ()
    assert plan.windows() == {"right:first-look": (1, 1, 1), "left:first-look": (1, 1, 1)}


def test_who_may_be_seventeen_or_eighteen_is_asked_and_planned_as_grown(someone, told):
    plan = told(someone(birth_date=None, birth_year=2008))
    assert plan.blocking() == {"age-at-18"}
    assert plan.plan.tiers == {"right": "B"}
    assert plan.steps("right:steroid") == "4x7 3x7 2x7 1x7"
