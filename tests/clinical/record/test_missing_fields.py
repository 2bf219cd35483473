"""Fields that a surgeon's telling needs: each has its effect on the plan, or is honestly shown there."""

from __future__ import annotations

import pytest

from followup.cli.plan_text import render_plan
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_record

EVENT = "6x7 5x7 4x7 3x7 2x7 1x7"
FORMULARY = load_protocol().formulary


@pytest.mark.parametrize("other", ["glaucoma surgery", "corneal graft", "retinal vitrectomy"])
def test_a_combined_operation_is_planned_by_hand_and_still_seen_the_next_day(someone, told, other):
    plan = told(someone(operation={"combined_with": [other]}))
    assert plan.plan.status == "on-hold"
    assert plan.plan.refused
    assert plan.plan.courses == ()
    assert plan.windows()["right:first-look"] == (1, 1, 1)
    assert not plan.plan.signable


def test_a_halted_operation_is_an_event_and_the_surgeon_plans_what_follows(someone, told):
    plan = told(someone(operation={"halted": True, "lens": "none"}))
    assert plan.steps("right:steroid") == EVENT
    assert plan.windows()["right:halted"] == (1, 3, 14)
    assert plan.cautions()["halted-operation"] == "warn"


@pytest.mark.parametrize("place", ["iris", "sclera"])
def test_a_lens_fixed_to_iris_or_sclera_is_an_event_watched_for_its_place_and_pressure(someone, told, place):
    plan = told(someone(operation={"lens": place}))
    assert plan.steps("right:steroid") == EVENT
    assert {"right:lens-position-1", "right:lens-position-2"} <= set(plan.windows())
    assert plan.plan.tiers["right"] == "B"


def test_a_toric_lens_has_its_axis_looked_at_in_the_first_week(someone, told):
    plan = told(someone(operation={"toric_axis": 85, "lens_power": 21.5}))
    assert plan.windows()["right:toric-axis"] == (5, 7, 9)
    assert "The toric lens in the right eye was left on the axis of 85 degrees." in plan.plan.notices
    assert "The lens in the right eye has 21.5 dioptres." in plan.plan.notices
    assert "right:toric-axis" not in told(someone(operation={"lens_power": 21.5})).windows()


def test_a_ring_in_the_bag_is_watched_like_weak_zonules_and_is_not_the_pupils(someone, told):
    plan = told(someone(operation={"tension_ring": True}))
    assert {"right:zonules-1", "right:zonules-2", "right:zonules-3"} <= set(plan.windows())
    assert plan.steps("right:steroid") == "4x7 3x7 2x7 1x7"


def test_a_burnt_wound_is_looked_at_like_a_leak(someone, told):
    plan = told(someone(operation={"wound_burn": True}))
    assert {"right:leak-1", "right:leak-2"} <= set(plan.windows())
    assert plan.steps("right:steroid") == EVENT


def test_absorbable_stitches_keep_their_look(someone, told):
    stitches = {"stitches": 2, "cut_mm": 2.8}
    plan = told(someone(operation=stitches | {"stitches_absorbable": True}))
    assert plan.cautions()["absorbable-stitches"] == "note"
    assert plan.windows()["right:stitches"] == told(someone(operation=stitches)).windows()["right:stitches"]


def test_an_antibiotic_outside_the_chamber_is_said_and_shortens_nothing(someone, told):
    plan = told(
        someone(operation={"antibiotic_in_chamber": False, "antibiotic_elsewhere": "under the conjunctiva"})
    )
    assert plan.cautions()["antibiotic-elsewhere"] == "note"
    assert "antibiotic-first-in-the-morning" not in plan.cautions()
    assert plan.steps("right:antibiotic") == "4x7"


def test_immunosuppression_brings_an_extra_look_and_a_warning(someone, told):
    plan = told(someone(conditions={"immunosuppressed": True}))
    assert plan.windows()["right:infection-early"] == (2, 3, 4)
    assert plan.windows()["right:first-look"] == (1, 1, 1)
    assert plan.cautions()["immunosuppressed-caution"] == "warn"


def test_a_graft_asks_which_steroid_goes_on_and_is_looked_at_twice(someone, told):
    plan = told(someone(eye={"corneal_graft": True}))
    assert "ask-graft-care" in plan.blocking()
    assert {"right:graft-1", "right:graft-2"} <= set(plan.windows())
    assert plan.plan.tiers["right"] == "B"
    cared = someone(eye={"corneal_graft": True, "graft_care": "Dr Osei; dexamethasone once a day goes on"})
    answered = told(cared)
    assert "ask-graft-care" not in answered.asks()
    assert "dexamethasone once a day goes on" in render_plan(
        answered.plan, parse_record(cared), load_protocol()
    )


def test_a_scar_of_the_cornea_is_noted(someone, told):
    assert told(someone(eye={"corneal_scar": True})).cautions()["corneal-scar"] == "note"


def test_drops_from_before_surgery_are_told_and_steroid_among_them_tightens_the_checks(someone, told, on_day):
    drop = {"medicine": "prednisolone-acetate-1", "count_a_day": 4, "since": on_day(-7)}
    plan = told(someone(operation={"drops_before": [drop]}))
    assert plan.plan.tiers["right"] == "B"
    assert any("Prednisolone acetate 1%, 4 a day since 23 February 2026" in n for n in plan.plan.notices)
    other = told(someone(operation={"drops_before": [{"medicine": "nepafenac-0-1"}]}))
    assert other.plan.tiers["right"] == "C"
    assert any("Nepafenac 0.1%" in notice for notice in other.plan.notices)


def test_a_paused_drop_stops_and_starts_again_on_its_day(someone, told, on_day):
    drop = {"medicine": "latanoprost-0-005", "eye": "right", "count_a_day": 1}
    paused = drop | {"paused_on": on_day(0), "resumes_on": on_day(30)}
    plan = told(someone(in_use=[paused], eye={"glaucoma": True}))
    days = plan.by_day("right:latanoprost-0-005")
    assert min(days) == 30
    later = drop | {"paused_on": on_day(10), "resumes_on": on_day(20)}
    days = told(someone(in_use=[later], eye={"glaucoma": True})).by_day("right:latanoprost-0-005")
    assert set(range(1, 10)) <= set(days)
    assert not set(range(10, 20)) & set(days)
    assert 20 in days


def test_a_pause_without_an_end_is_asked_about(someone, told, on_day):
    drop = {"medicine": "latanoprost-0-005", "eye": "right", "count_a_day": 1, "paused_on": on_day(0)}
    assert "in-use-resumes-0" in told(someone(in_use=[drop])).blocking()


# ---- single doses -----------------------------------------------------------------------------------
def test_the_formulary_has_a_single_dose_of_each_class_with_volume_and_for_one_day():
    singles = [m for m in FORMULARY.values() if m.single_dose]
    assert {m.role for m in singles} >= {
        "steroid",
        "nsaid",
        "antibiotic",
        "cycloplegic",
        "pressure",
        "lubricant",
    }
    for medicine in singles:
        assert medicine.volume_ml
        assert medicine.volume_ml <= 0.5
        assert medicine.open_days == 1
        assert medicine.drops_per_bottle == 1
        assert "benzalkonium" not in medicine.excipients


def test_whoever_wants_no_preservative_gets_single_doses_counted_by_visit(someone, told, protocol):
    plan = told(someone(operation={"preservative_free": True}))
    plain = told(someone())
    assert plan.steps("right:steroid") == plain.steps("right:steroid")
    for course in plan.plan.courses:
        assert protocol.formulary[course.medicine].single_dose
        given = [b.units for b in plan.plan.supply if b.course == course.key]
        assert sum(given) == course.drops
    assert set(plan.windows()) == set(plain.windows())


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"operation": {"stitches": 0, "stitches_absorbable": True}}, "stitches is 0"),
        ({"operation": {"toric_axis": 90, "lens": "none"}}, "lens says none"),
        (
            {"operation": {"drops_before": [{"medicine": "nepafenac-0-1", "since": "2026-04-01"}]}},
            "after the",
        ),
        (
            {"in_use": [{"medicine": "latanoprost-0-005", "eye": "right", "resumes_on": "2026-03-20"}]},
            "paused_on",
        ),
    ],
)
def test_what_contradicts_itself_is_refused(someone, told, change, says):
    with pytest.raises(Exception, match=says):
        parse_record(someone(**change))


def test_a_drop_before_surgery_that_nobody_knows_is_refused_by_its_field(someone, told):
    record = someone(operation={"drops_before": [{"medicine": "wonder-drop"}]})
    with pytest.raises(Exception, match=r"operations\.0\.drops_before\.0\.medicine"):
        told(record)


# ---- no new fact makes less ---------------------------------------------------------------------------
TOLD = [
    {"operation": {"tension_ring": True}},
    {"operation": {"wound_burn": True}},
    {"operation": {"toric_axis": 10}},
    {"operation": {"lens": "sclera"}},
    {"operation": {"halted": True}},
    {"operation": {"preservative_free": True}},
    {"operation": {"antibiotic_elsewhere": "by mouth"}},
    {"operation": {"drops_before": [{"medicine": "prednisolone-acetate-1"}]}},
    {"eye": {"corneal_graft": True}},
    {"eye": {"corneal_scar": True}},
    {"conditions": {"immunosuppressed": True}},
    {"forgets": True},
]


@pytest.mark.parametrize("fact", TOLD)
def test_no_such_field_makes_fewer_looks_or_less_steroid_in_a_uveitic_eye(someone, told, on_day, fact):
    eye = {"uveitis": {"kind": "anterior", "last_active": on_day(-120)}}
    less = told(someone(eye=eye))
    more = told(someone(**{**fact, "eye": eye | fact.get("eye", {})}))
    assert set(less.windows()) <= set(more.windows())
    assert len(more.trip_days()) >= len(less.trip_days())
    assert more.plan.tiers["right"] <= less.plan.tiers["right"]
    assert all(more.steroid().get(day, 0) >= count for day, count in less.steroid().items())
