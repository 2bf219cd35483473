"""What is told in passing asks or tightens; what is not written down is never good in silence."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from followup.clinical.record.patient import UVEITIS_KINDS

ROUTINE = "4x7 3x7 2x7 1x7"
EVENT = "6x7 5x7 4x7 3x7 2x7 1x7"
ACTIVE = "16x7 8x7 6x7 5x7 4x14 3x14 2x14 1x14"
TIMOLOL = {"medicine": "timolol-0-5", "eye": "right", "count_a_day": 2}


# ---- glaucoma that nobody wrote down --------------------------------------------------------------
@pytest.mark.parametrize("eye", ["right", "both"])
def test_a_pressure_drop_without_a_diagnosis_is_asked_about_and_watched_as_glaucoma(someone, told, eye):
    plan = told(someone(in_use=[TIMOLOL | {"eye": eye}]))
    assert "ask-glaucoma" in plan.blocking()
    assert plan.plan.tiers["right"] == "A"
    assert plan.plan.before_leaving


def test_a_pressure_drop_of_an_eye_without_glaucoma_is_still_a_middling_risk(someone, told):
    plan = told(someone(in_use=[TIMOLOL], eye={"glaucoma": False}))
    assert "ask-glaucoma" not in plan.asks()
    assert plan.plan.tiers["right"] == "B"


def test_a_pressure_drop_of_the_other_eye_alone_asks_nothing_here(someone, told):
    assert "ask-glaucoma" not in told(someone(in_use=[TIMOLOL | {"eye": "left"}])).asks()


@pytest.mark.parametrize("told_of", ["glaucoma", "damaged_nerve"])
def test_glaucoma_in_the_other_eye_is_a_middling_risk(someone, told, told_of):
    assert told(someone()).plan.tiers["right"] == "C"
    assert told(someone(other_eye={told_of: True})).plan.tiers["right"] == "B"


@pytest.mark.parametrize(("mmhg", "raised"), [(21.9, False), (22, True), (35, True)])
def test_22_before_surgery_is_asked_about_and_measured_before_leaving(someone, told, mmhg, raised):
    plan = told(someone(eye={"pressure_before": mmhg}))
    assert ("ask-glaucoma" in plan.blocking()) is raised
    assert bool(plan.plan.before_leaving) is raised
    assert plan.plan.tiers["right"] == ("B" if raised else "C")


@pytest.mark.parametrize("side", ["eye", "other_eye"])
def test_a_told_rise_on_steroid_makes_a_responder(someone, told, side):
    plan = told(someone(**{side: {"rise_on_steroid": {"mmhg": 34, "year": 2023}}}))
    assert plan.plan.tiers["right"] == "A"
    assert "ask-responder-course" in plan.asks()


# ---- uveitis --------------------------------------------------------------------------------------
def test_uveitis_without_its_last_active_day_is_asked_about_and_counts_as_active(someone, told):
    plan = told(someone(eye={"uveitis": {"kind": "anterior"}}))
    assert "ask-uveitis-date" in plan.blocking()
    assert plan.steps("right:steroid") == ACTIVE
    because = [reason.because for reason in plan.course("right:steroid").reasons]
    assert because == [
        "The day on which the uveitis was last active is not written down: until it is, the uveitis counts "
        "as active."
    ]
    known = told(someone(eye={"uveitis": {"kind": "anterior", "never_quiet": True}}))
    assert "ask-uveitis-date" not in known.asks()


def test_fuchs_gets_the_routine_course_a_high_pressure_risk_and_its_retina_looked_at(someone, told):
    plan = told(someone(eye={"uveitis": {"kind": "Fuchs heterochromic"}}))
    assert plan.steps("right:steroid") == ROUTINE
    assert plan.plan.tiers["right"] == "A"
    assert plan.windows()["right:retina-fuchs"] == (28, 35, 56)
    assert {"right:taper-end", "right:rebound"} <= set(plan.windows())
    assert plan.cautions()["fuchs-routine"] == "warn"


def test_fuchs_with_synechiae_is_asked_about_and_treated_as_any_other_uveitis(someone, told, on_day):
    eye = {"uveitis": {"kind": "Fuchs heterochromic", "last_active": on_day(-200)}}
    plan = told(someone(eye=eye, operation={"synechiae_broken": True}))
    assert "ask-fuchs" in plan.blocking()
    assert plan.steps("right:steroid").startswith("16x3")
    assert plan.plan.tiers["right"] == "A"


def test_a_kind_that_is_an_infection_stops_until_infection_is_excluded(someone, told):
    for kind in ("toxoplasma", "tuberculous", "syphilitic"):
        assert told(someone(eye={"uveitis": {"kind": kind}})).cautions()["uveitis-infection"] == "stop"
    cleared = {"uveitis": {"kind": "tuberculous", "infection_excluded": True}}
    assert "uveitis-infection" not in told(someone(eye=cleared)).cautions()


def test_a_herpetic_kind_is_herpetic_uveitis(someone, told):
    by_kind = told(someone(eye={"uveitis": {"kind": "herpetic"}}))
    assert "herpetic-uveitis-cover" in by_kind.asks()


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_no_kind_but_fuchs_makes_a_uveitic_eye_lighter_or_less_seen(data, someone, told, on_day):
    last = data.draw(st.none() | st.integers(1, 400))
    uveitis = {"last_active": on_day(-last)} if last else {}
    operation = {"synechiae_broken": data.draw(st.booleans()), "fibrin": data.draw(st.booleans())}
    kind = data.draw(st.sampled_from([k for k in UVEITIS_KINDS if k != "Fuchs heterochromic"]))
    words = {"kind_words": "told"} if kind == "other" else {}
    without = told(someone(eye={"uveitis": uveitis}, operation=operation))
    with_it = told(someone(eye={"uveitis": uveitis | {"kind": kind} | words}, operation=operation))
    before, after = without.steroid(), with_it.steroid()
    assert all(after.get(day, 0) >= count for day, count in before.items())
    assert set(without.windows()) <= set(with_it.windows())
    assert with_it.plan.tiers["right"] <= without.plan.tiers["right"]


# ---- hands and heads --------------------------------------------------------------------------------
HANDS = [
    {"can_squeeze": False, "drops_by": None},
    {"can_squeeze": False, "drops_by": {"who": "self"}},
    {"drops_by": {"who": "relative", "name": "a niece", "can_squeeze": False}},
    {"drops_by": {"who": "relative", "name": "a niece", "forgets": True}},
    {"forgets": True, "drops_by": {"who": "self"}},
    {"forgets": True, "drops_by": None},
]


@pytest.mark.parametrize("who", HANDS)
def test_hands_and_heads_that_fail_need_help_before_the_bottles_are_handed_over(someone, told, who):
    assert "ask-hands" in told(someone(**who)).blocking()
    assert "ask-hands" not in told(someone(**who, help_arranged="helper")).asks()


def test_a_patient_who_forgets_with_a_helper_who_does_not_asks_nothing(someone, told):
    assert "ask-hands" not in told(someone(forgets=True, can_squeeze=False)).asks()


# ---- the cornea, the short eye, lenses put in later ------------------------------------------------
def test_a_weak_endothelium_is_noted_looked_at_and_gets_no_phosphate(someone, told, protocol):
    plan = told(someone(eye={"weak_endothelium": True}))
    assert plan.cautions()["endothelium-note"] == "note"
    assert plan.windows()["right:endothelium-1"] == (5, 7, 9)
    assert plan.windows()["right:endothelium-2"] == (29, 35, 56)
    for course in plan.plan.courses:
        assert "phosphate" not in protocol.formulary[course.medicine].excipients


def test_phosphate_on_a_weak_endothelium_in_a_uveitic_eye_is_asked_about(someone, told, on_day):
    eye = {"weak_endothelium": True, "uveitis": {"kind": "anterior", "last_active": on_day(-200)}}
    assert "phosphate.endothelium" in told(someone(eye=eye)).blocking()


@pytest.mark.parametrize(("mm", "short"), [(20.4, True), (20.5, False), (23.0, False)])
def test_a_very_short_eye_has_its_chamber_looked_at(someone, told, mm, short):
    plan = told(someone(eye={"axial_length_mm": mm}))
    assert ("right:short-eye-1" in plan.windows()) is short
    assert ("right:short-eye-2" in plan.windows()) is short
    assert ("short-eye-caution" in plan.cautions()) is short
    assert plan.windows()["right:first-look"] == ((1, 1, 1) if short else (1, 1, 2))


@pytest.mark.parametrize("procedure", ["lens exchange", "secondary lens"])
def test_a_lens_put_in_later_is_an_event(someone, told, procedure):
    assert told(someone(operation={"procedure": procedure})).steps("right:steroid") == EVENT


# ---- doses, pads, what is left ----------------------------------------------------------------------
CRYSTALS = {
    "medicine": "triamcinolone-injection",
    "place": "chamber",
    "form": "crystals",
    "purpose": "treat",
    "fate": "left",
}


@pytest.mark.parametrize(("mg", "asked"), [(4, False), (8, False), (8.5, True), (40, True)])
def test_more_triamcinolone_than_the_chamber_holds_is_asked_about(someone, told, mg, asked):
    given_ = CRYSTALS | {"mg": mg}
    plan = told(someone(operation={"steroid": [given_]}))
    assert ("ask-steroid-dose" in plan.blocking()) is asked
    confirmed = told(someone(operation={"steroid": [given_ | {"dose_confirmed": True}]}))
    assert "ask-steroid-dose" not in confirmed.asks()


def test_forty_mg_beside_the_eye_and_a_milligram_slip_inside_are_told_apart(someone, told):
    beside = CRYSTALS | {"mg": 40, "place": "sub-Tenon"}
    assert "ask-steroid-dose" not in told(someone(operation={"steroid": [beside]})).asks()
    slip = {"medicine": "dexamethasone-injection", "mg": 4, "place": "chamber", "form": "solution"}
    assert "ask-steroid-dose" in told(someone(operation={"steroid": [slip]})).asks()


def test_a_pad_until_morning_and_drops_from_today_are_a_contradiction(someone, told):
    assert "ask-pad-or-drops" in told(someone(operation={"drops_from_today": True})).blocking()
    today = {"drops_from_today": True, "pad": False}
    assert "ask-pad-or-drops" not in told(someone(operation=today)).asks()


def test_without_an_antibiotic_in_the_chamber_and_under_a_pad_the_first_one_is_said(someone, told):
    plan = told(someone(operation={"antibiotic_in_chamber": False}))
    assert "when the pad comes off" in plan.caution("antibiotic-first-in-the-morning").text
    assert "antibiotic-first-in-the-morning" not in told(someone()).cautions()


def test_dexamethasone_left_in_the_eye_is_noted_and_shortens_nothing(someone, told):
    left = {"medicine": "dexamethasone-injection", "mg": 0.4, "place": "chamber", "form": "solution"}
    plan = told(someone(operation={"steroid": [left | {"fate": "left", "purpose": "treat"}]}))
    assert plan.cautions()["solution-left"] == "note"
    assert plan.steps("right:steroid") == ROUTINE


@pytest.mark.parametrize(
    ("field", "note"),
    [
        ("capsule_torn", "capsule-not-written-down"),
        ("lens", "lens-not-written-down"),
        ("watertight", "watertight-not-written-down"),
        ("antibiotic_in_chamber", "antibiotic-not-written-down"),
    ],
)
def test_what_is_not_written_down_is_never_counted_as_good_in_silence(someone, told, field, note):
    silent = told(someone(operation={field: None}))
    assert silent.caution(note).text.startswith("Not written down")
    said = {"capsule_torn": False, "lens": "bag", "watertight": True, "antibiotic_in_chamber": True}
    assert note not in told(someone(operation=said)).cautions()


# ---- pregnancy and milk ----------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("third", "nsaid"),
    [
        ("first trimester", "nsaid.pregnant"),
        ("second trimester", "nsaid.pregnant"),
        ("third trimester", "nsaid.third-trimester"),
    ],
)
def test_every_third_of_a_pregnancy_is_asked_about_for_each_class(someone, told, third, nsaid):
    tablets = {"medicine": "prednisolone-5-tablet", "route": "mouth", "mg": 20, "count_a_day": 1}
    record = someone(
        conditions={"pregnancy": third}, birth_date="1990-01-01", in_use=[tablets | {"ordered_by": "Dr Osei"}]
    )
    asked = told(record).blocking()
    assert {"quinolone.pregnant", "steroid-tablet.pregnant"} <= asked
    assert {id_ for id_ in asked if id_.startswith("nsaid.")} == {nsaid}


def test_breast_feeding_is_asked_about_for_each_class(someone, told):
    tablets = {"medicine": "prednisolone-5-tablet", "route": "mouth", "mg": 20, "count_a_day": 1}
    record = someone(
        conditions={"breast_feeding": True},
        birth_date="1990-01-01",
        in_use=[tablets | {"ordered_by": "Dr X"}],
    )
    wanted = {"nsaid.breast-feeding", "quinolone.breast-feeding", "steroid-tablet.breast-feeding"}
    assert wanted <= told(record).blocking()


# ---- no fact makes less -----------------------------------------------------------------------------
TIGHTENING = {
    "glaucoma": ("other_eye", True),
    "damaged_nerve": ("other_eye", True),
    "pressure_before": ("eye", 24),
    "weak_endothelium": ("eye", True),
    "rise_on_steroid": ("eye", {"mmhg": 34}),
}


@pytest.mark.parametrize("field", TIGHTENING)
def test_no_such_fact_makes_fewer_looks_or_less_treatment_in_a_uveitic_eye(someone, told, on_day, field):
    side, value = TIGHTENING[field]
    uveitis = {"uveitis": {"kind": "anterior", "last_active": on_day(-60)}}
    less = told(someone(eye=uveitis))
    sides = {"eye": dict(uveitis), "other_eye": {}}
    sides[side][field] = value
    more = told(someone(**sides))
    assert set(less.windows()) <= set(more.windows())
    assert len(more.trip_days()) >= len(less.trip_days())
    assert more.plan.tiers["right"] <= less.plan.tiers["right"]
    assert all(more.steroid().get(day, 0) >= count for day, count in less.steroid().items())
    assert more.plan.last_steroid_day["right"] - less.plan.last_steroid_day["right"] >= timedelta()
