"""The twelve operations, third part: where the surgeon picks. Days count from the operation (0)."""

from __future__ import annotations

import pytest


@pytest.fixture
def grace(case):
    """Grace as recorded, with whatever the surgeon has answered since."""

    def answered(course=None, **conditions):
        record = case("grace")
        record["patient"]["conditions"] |= conditions
        if course:
            record["operations"][0]["choices"] = {"responder_course": course}
        return record

    return answered


HER_TWO_DROPS = [
    {"medicine": "dorzolamide-2", "eye": "right", "count_a_day": 2},
    {"medicine": "brimonidine-0-2", "eye": "right", "count_a_day": 2},
]


def test_grace_cannot_be_signed_before_the_surgeon_picks_her_course(grace, told):
    plan = told(grace())
    assert plan.courses() == {
        "right:steroid": "held",
        "right:steroid-weaker": "held",
        "right:nsaid": "held",
        "right:antibiotic": "active",
    }
    assert plan.question("ask-responder-course").choices == ("A", "B")
    assert plan.question("ask-responder-course").holds == ("right:steroid", "right:steroid-weaker")
    assert plan.blocking() == {
        "ask-responder-course",
        "nsaid.aspirin-not-asked",
        "in-use-name-0",
        "in-use-name-1",
    }
    assert not plan.plan.signable


def test_grace_course_a_is_the_potent_drop_for_a_week_and_then_a_weaker_one(grace, told):
    plan = told(grace("A"))
    assert plan.steps("right:steroid") == "4x7"
    assert plan.steps("right:steroid-weaker") == "3x7 2x7 1x7"
    assert (plan.course("right:steroid").drops, plan.course("right:steroid-weaker").drops) == (28, 42)
    assert plan.course("right:steroid-weaker").medicine != plan.course("right:steroid").medicine
    assert plan.last() == 28
    assert plan.courses()["right:steroid"] == "active"
    assert plan.trip_days() == [1, 7, 14, 29]


def test_grace_course_b_is_six_days_of_the_potent_drop_and_four_weeks_of_nsaid(grace, told):
    plan = told(grace("B", tolerates_aspirin=True))
    assert plan.steps("right:steroid") == "4x6"
    assert plan.course("right:steroid").drops == 24
    assert plan.last() == 6
    assert plan.steps("right:nsaid") == "2x28"
    assert "right:steroid-weaker" not in plan.courses()
    assert plan.windows()["right:pressure-early"] == (10, 14, 14)
    assert plan.windows()["right:pressure-end"] == (7, 7, 13)
    assert len(plan.trip_days()) == 4


@pytest.mark.parametrize("course", [None, "A", "B"])
def test_grace_is_watched_as_a_responder_whatever_is_picked(grace, told, course):
    record = grace(course)
    record["operations"][0] |= {"start": "09:00", "end": "09:20"}
    plan = told(record)
    assert plan.plan.tiers == {"right": "A"}
    assert plan.windows()["right:first-look"] == (1, 1, 1)
    assert plan.plan.before_leaving[0].earliest == "12:20"
    assert len(plan.trip_days()) == 4


def test_graces_nsaid_waits_for_the_aspirin_question_because_of_her_asthma(grace, told):
    assert told(grace("A")).course("right:nsaid").held_by == ("nsaid.aspirin-not-asked",)
    assert told(grace("A", tolerates_aspirin=True)).courses()["right:nsaid"] == "active"


def test_graces_two_drops_go_on_by_name_in_the_rounds_from_new_bottles(grace, told):
    record = grace("A", tolerates_aspirin=True)
    record["in_use"] = HER_TWO_DROPS
    plan = told(record)
    for key in ("right:dorzolamide-2", "right:brimonidine-0-2"):
        assert plan.course(key).from_before
        assert plan.opened(key)[0] == 1
        assert all(key in {d.course for d in phase.doses} for phase in plan.plan.rounds)
    assert plan.plan.signable
    assert plan.number(plan.plan.rounds[-1].end) == 56  # the last day for her refraction


def test_grace_is_not_silently_left_on_a_beta_blocker_with_asthma(grace, told):
    record = grace("A", tolerates_aspirin=True)
    record["in_use"] = [{"medicine": "timolol-0-5", "eye": "right", "count_a_day": 2}, HER_TWO_DROPS[1]]
    plan = told(record)
    stopped = [c for c in plan.plan.cautions if "beta-blocker" in c.id]
    assert [(c.id, c.level) for c in stopped] == [("beta-blocker.asthma", "stop")]
    assert not plan.plan.signable


def test_the_protocol_offers_no_beta_blocker_of_its_own(grace, told, protocol):
    for course in told(grace("A")).plan.courses:
        assert "beta-blocker" not in protocol.formulary[course.medicine].kinds


@pytest.fixture
def devika(case):
    """Devika as recorded, with answers about her herpes."""

    def answered(feeling=None, **answers):
        record = case("devika")
        eye = record["patient"]["eyes"]["right"]
        eye["herpetic_keratitis"] |= answers
        if feeling:
            eye["corneal_feeling"] = feeling
        return record

    return answered


def test_devikas_steroid_is_drafted_and_held_until_two_answers(devika, told):
    plan = told(devika())
    assert plan.steps("right:steroid") == "4x7 3x7 2x7 1x7"
    assert plan.course("right:steroid").held_by == ("herpes-answers", "herpes-cover")
    assert plan.courses()["right:nsaid"] == "held"
    assert plan.courses()["mouth:antiviral"] == "held"
    assert plan.last() == 28
    assert plan.blocking() == {"herpes-answers", "herpes-cover"}


def test_devikas_cornea_is_stained_three_times_in_four_visits(devika, told):
    plan = told(devika())
    assert plan.windows()["right:cornea-stain-1"] == (5, 7, 9)
    assert plan.windows()["right:cornea-stain-2"] == (14, 18, 21)
    assert plan.windows()["right:cornea-stain-3"] == (29, 35, 42)
    assert len(plan.trip_days()) == 4


def test_devikas_answers_release_the_steroid_and_give_the_antiviral_until_two_weeks_after_it(devika, told):
    plan = told(devika(active_epithelial_disease=False, antiviral_cover=True))
    assert plan.courses()["right:steroid"] == "active"
    cover = plan.course("mouth:antiviral")
    assert (cover.medicine, cover.state, plan.steps("mouth:antiviral")) == (
        "aciclovir-400-tablet",
        "active",
        "2x43",
    )
    assert plan.starts("mouth:antiviral") == 0
    assert plan.number(cover.last_day) == 28 + 14
    assert plan.plan.signable
    assert plan.courses()["right:nsaid"] == "held"


def test_devikas_nsaid_is_released_by_normal_corneal_feeling_and_by_nothing_less(devika, told):
    answers = {"active_epithelial_disease": False, "antiviral_cover": True}
    assert told(devika("normal", **answers)).courses()["right:nsaid"] == "active"
    for feeling in ("reduced", "absent"):
        assert told(devika(feeling, **answers)).courses()["right:nsaid"] == "held"


def test_devikas_steroid_is_blocked_while_the_herpes_is_active(devika, told):
    plan = told(devika(active_epithelial_disease=True, antiviral_cover=True))
    assert plan.courses()["right:steroid"] == "held"
    assert plan.caution("steroid.active-herpes").level == "stop"
    assert not plan.plan.signable


def test_devika_without_cover_gets_no_tablets(devika, told):
    plan = told(devika(active_epithelial_disease=False, antiviral_cover=False))
    assert "mouth:antiviral" not in plan.courses()
    assert plan.courses()["right:steroid"] == "active"


@pytest.fixture
def fatuma(case):
    def answered(depot_course="no drops", language="sw", **operation):
        record = case("fatuma")
        record["patient"]["language"] = language
        record["operations"][0] |= {"viscoelastic": {"removed": "all"}, **operation}
        record["operations"][0]["choices"] = {"depot_course": depot_course} if depot_course else {}
        return record

    return answered


def test_fatuma_gets_no_drops_with_the_rescue_path_armed(case, told):
    plan = told(case("fatuma"))
    assert plan.courses() == {"right:steroid": "stopped", "right:antibiotic": "held"}
    assert plan.course("right:steroid").steps == ()
    assert plan.caution("rescue-path").sheet == "no-drops-rescue"
    assert plan.blocking() == {"ask-antibiotic-dropless", "ask-language", "ask-viscoelastic"}


def test_fatumas_depot_is_watched_in_four_visits(case, told):
    record = case("fatuma")
    record["operations"][0]["viscoelastic"] = {"removed": "all"}
    plan = told(record)
    assert [plan.windows()[f"right:depot-{i}"] for i in (1, 2, 3, 4)] == [
        (1, 1, 1),
        (5, 7, 9),
        (19, 21, 23),
        (33, 35, 37),
    ]
    assert plan.windows()["right:refraction"] == (31, 37, 58)
    assert plan.trip_days() == [1, 7, 21, 35]


def test_fatuma_with_an_antibiotic_in_the_chamber_takes_nothing_at_all(fatuma, told):
    plan = told(fatuma(antibiotic_in_chamber=True))
    assert plan.courses() == {"right:steroid": "stopped"}
    assert plan.last() is None
    assert plan.plan.rounds == ()
    assert plan.plan.supply == ()
    assert plan.plan.signable


def test_fatuma_without_one_gets_the_antibiotic_as_drops(fatuma, told):
    plan = told(fatuma(antibiotic_in_chamber=False))
    assert plan.question("ask-antibiotic-dropless").holds == ("right:antibiotic",)
    assert plan.steps("right:antibiotic") == "4x7"


def test_fatuma_may_have_the_short_taper_instead(fatuma, told):
    plan = told(fatuma("taper", antibiotic_in_chamber=True))
    assert plan.steps("right:steroid") == "3x7 2x7 1x7"
    assert plan.last() == 21
    assert plan.windows()["right:refraction"] == (31, 37, 58)
    assert plan.plan.signable


def test_fatuma_without_a_choice_holds_the_short_taper(fatuma, told):
    plan = told(fatuma(None, antibiotic_in_chamber=True))
    assert plan.courses()["right:steroid"] == "held"
    assert "ask-depot-course" in plan.blocking()


@pytest.mark.parametrize("picked", ["no drops", "taper", None])
def test_fatuma_is_never_seen_less_often_than_with_ordinary_drops(fatuma, told, picked):
    ordinary = fatuma(picked, antibiotic_in_chamber=True)
    ordinary["operations"][0]["steroid"] = []
    with_depot = told(fatuma(picked, antibiotic_in_chamber=True))
    assert len(with_depot.trip_days()) >= len(told(ordinary).trip_days())
