"""The twelve operations, second part: uveitis, events, answers. Days count from the operation (0)."""

from __future__ import annotations

import pytest


@pytest.fixture
def amina(case, told):
    return told(case("amina"))


def test_amina_takes_the_washed_start_of_the_uveitis_course(amina):
    assert amina.course("left:steroid").taper == "UW"
    assert amina.steps("left:steroid") == "8x7 6x7 5x7 4x14 3x14 2x14 1x14"
    assert amina.course("left:steroid").drops == 273
    assert amina.last("left") == 77
    assert amina.opened("left:steroid") == [1, 15, 39, 67]
    assert amina.lost()["steroid-uveitis-quiet"] == "steroid-uveitis-washed"
    assert amina.lost()["steroid-event"] == "steroid-uveitis-washed"


def test_aminas_nsaid_waits_for_the_day_one_look_and_her_pupil_drop_for_an_answer(amina):
    assert amina.courses() == {
        "left:steroid": "active",
        "left:nsaid": "held",
        "left:antibiotic": "active",
        "left:cycloplegic": "held",
    }
    assert amina.steps("left:nsaid") == "2x42"
    assert amina.steps("left:antibiotic") == "4x7"
    assert amina.steps("left:cycloplegic") == "3x7 2x7"
    assert amina.question("nsaid-blood").holds == ("left:nsaid",)
    assert not amina.question("nsaid-blood").blocks
    assert amina.question("cycloplegic-angle").holds == ("left:cycloplegic",)


def test_amina_is_measured_before_she_leaves_and_stays_the_night(case, told):
    record = case("amina")
    record["operations"][0] |= {"start": "09:40", "end": "10:20"}
    amina = told(record)
    (check,) = amina.plan.before_leaving
    assert (check.kind, check.earliest, check.latest) == ("pressure", "13:20", "17:20")
    assert amina.caution("stay-the-night").sheet == "stay-the-night"


def test_amina_comes_seven_times_and_everything_is_seen_in_its_window(amina):
    assert amina.plan.tiers == {"left": "B"}
    assert amina.windows() == {
        "left:first-look": (1, 1, 1),
        "left:chamber-1": (1, 1, 1),
        "left:chamber-2": (5, 7, 9),
        "left:wound": (5, 7, 9),
        "left:pressure-early": (10, 14, 14),
        "left:macula-1": (28, 35, 42),
        "left:macula-2": (60, 84, 90),
        "left:taper-end": (78, 81, 84),
        "left:refraction": (78, 84, 105),
        "left:rebound": (91, 98, 112),
    }
    assert amina.trip_days() == [1, 7, 14, 29, 49, 84, 98]


def test_aminas_cornea_is_stained_and_pressure_measured_on_a_visit_that_only_the_gaps_ask_for(amina):
    visit = amina.trip(49)
    assert visit.serves == ()
    assert visit.services == ("pressure", "review")
    assert {r.rule for r in visit.reasons} == {"tier-B", "tier-middle", "long-nsaid"}
    assert all(r.because and r.source and r.mark for r in visit.reasons)


CAUSES = {"ask-uveitis-herpetic", "ask-uveitis-infection", "ask-tuberculosis", "ask-syphilis"}


def causes_asked(record, side):
    """The causes of a uveitis that change what the steroid may do, asked and answered."""
    record["patient"]["eyes"][side]["uveitis"] |= {"herpetic": False, "infection_excluded": True}
    record["patient"].setdefault("conditions", {}).update(tuberculosis=False, syphilis=False)


def test_amina_asks_ten_things_and_cannot_be_signed_before(amina):
    told_of = {"ask-viscoelastic", "ask-crystals", "ask-uveitis-kind", "ask-who-gives"}
    assert amina.blocking() == told_of | CAUSES
    assert amina.asks() - amina.blocking() == {"nsaid-blood", "cycloplegic-angle"}
    assert not amina.plan.signable


def test_aminas_nsaid_is_released_by_a_day_one_look_without_blood(case, told):
    record = case("amina")
    record["reviews"] = [{"eye": "left", "date": "2026-03-03", "blood": "none"}]
    after = told(record, as_of=1)
    assert after.courses()["left:nsaid"] == "active"
    assert "nsaid-blood" not in after.asks()
    assert after.starts("left:nsaid") == 1
    assert after.windows("served").keys() == {"left:first-look", "left:chamber-1"}


@pytest.mark.parametrize("blood", ["cells only", "level", "not seen"])
def test_aminas_nsaid_stays_held_while_blood_is_there_or_was_not_looked_for(case, told, blood):
    record = case("amina")
    record["reviews"] = [{"eye": "left", "date": "2026-03-03", "blood": blood}]
    assert told(record, as_of=1).courses()["left:nsaid"] == "held"


def test_amina_with_all_questions_answered_can_be_signed(case, told):
    record = case("amina")
    record["patient"]["drops_by"] = {"who": "relative", "name": "a son"}
    record["patient"]["eyes"]["left"]["uveitis"]["kind"] = "anterior"
    causes_asked(record, "left")
    operation = record["operations"][0]
    operation["viscoelastic"] = {"removed": "all"}
    operation["steroid"][0]["crystals_seen_after"] = False
    operation["choices"] = {"cycloplegic": "give"}
    after = told(record)
    assert after.plan.signable
    assert after.asks() == {"nsaid-blood"}
    assert after.courses()["left:cycloplegic"] == "active"
    assert after.course("left:steroid").taper == "UW"


def test_peters_recently_active_uveitis_starts_hourly_for_a_week(case, told):
    peter = told(case("peter"))
    assert peter.course("right:steroid").taper == "UA"
    assert peter.steps("right:steroid") == "16x7 8x7 6x7 5x7 4x14 3x14 2x14 1x14"
    assert peter.course("right:steroid").drops == 385
    assert peter.opened("right:steroid") == [1, 7, 20, 42, 70]
    assert peter.last() == 84
    assert peter.windows()["right:inflammation-early"] == (2, 3, 4)


def test_peters_unrecorded_chamber_counts_as_an_angle_at_risk(case, told):
    peter = told(case("peter"))
    assert peter.courses()["right:cycloplegic"] == "held"
    assert peter.windows()["right:chamber-1"] == (1, 1, 1)
    (reason,) = peter.need("right:chamber-1").reasons
    assert [(f.fact, "operations.0.chamber" in f.fields) for f in reason.facts] == [("angle_at_risk", True)]


def test_peters_tablets_go_on_by_name_and_someone_must_own_their_taper(case, told):
    record = case("peter")
    peter = told(record)
    tablets = peter.course("mouth:prednisolone-5-tablet")
    assert (tablets.role, tablets.eye, tablets.from_before) == ("steroid tablet", None, True)
    assert "in-use-ordered-by-0" in peter.blocking()
    assert peter.blocking() >= {"ask-tuberculosis", "ask-syphilis"}
    record["in_use"][0]["ordered_by"] = "Dr Osei"
    record["patient"]["eyes"]["right"]["uveitis"]["kind"] = "anterior"
    record["patient"]["drops_by"] = {"who": "relative"}
    record["operations"][0]["viscoelastic"] = {"removed": "all"}
    causes_asked(record, "right")
    after = told(record)
    assert after.course("mouth:prednisolone-5-tablet").ordered_by == "Dr Osei"
    assert after.plan.signable


@pytest.fixture
def ibrahim(case, told):
    return told(case("ibrahim"))


def test_ibrahims_torn_capsule_and_lost_vitreous_make_everything_longer(ibrahim):
    assert ibrahim.steps("left:steroid") == "6x7 5x7 4x7 3x7 2x7 1x7"
    assert ibrahim.course("left:steroid").drops == 147
    assert ibrahim.opened("left:steroid") == [1, 20]
    assert ibrahim.steps("left:nsaid") == "2x42"
    assert ibrahim.steps("left:antibiotic") == "4x14"


def test_ibrahims_only_seeing_eye_stands_first_on_the_list_to_reach(ibrahim):
    assert ibrahim.plan.tiers == {"left": "B"}
    assert {n.tier for n in ibrahim.plan.needs} == {"A"}
    assert ibrahim.caution("only-eye-shield").sheet == "clear-shield"
    assert ibrahim.need("left:first-look").urgent


def test_ibrahims_retina_lens_and_stitch_are_looked_at_in_six_visits(ibrahim):
    windows = ibrahim.windows()
    assert windows["left:retina-1"] == (7, 10, 14)
    assert windows["left:retina-2"] == (30, 45, 60)
    assert windows["left:retina-3"] == (60, 84, 90)
    assert windows["left:lens-position-2"] == (28, 35, 49)
    assert windows["left:stitches"] == (21, 28, 42)
    assert windows["left:pressure-end"] == (43, 43, 49)
    stitch = next(t for t in ibrahim.plan.trips if "left:stitches" in t.serves)
    glasses = next(t for t in ibrahim.plan.trips if "left:refraction" in t.serves)
    assert (glasses.date - stitch.date).days >= 14
    assert len(ibrahim.trip_days()) == 6


def test_joaos_large_cut_waits_for_its_stitches_and_nobody_squeezes_his_bottle(case, told):
    record = case("joao")
    joao = told(record)
    assert joao.windows()["left:stitches"] == (42, 49, 63)
    assert joao.steps("left:steroid") == "6x7 5x7 4x7 3x7 2x7 1x7"
    assert joao.steps("left:nsaid") == "2x28"
    stitch = next(t for t in joao.plan.trips if "left:stitches" in t.serves)
    glasses = next(t for t in joao.plan.trips if "left:refraction" in t.serves)
    assert (glasses.date - stitch.date).days >= 14
    assert joao.number(glasses.date) >= 56
    assert joao.blocking() == {"ask-hands", "ask-viscoelastic"}
    record["patient"]["help_arranged"] = "aid"
    record["operations"][0]["viscoelastic"] = {"removed": "all"}
    assert told(record).plan.signable
