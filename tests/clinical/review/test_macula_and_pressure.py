"""Macular oedema where the pressure is in danger; tablets; an added medicine ends only with a look."""

from __future__ import annotations

from datetime import timedelta

import pytest

HEART_AND_LUNGS = ["asthma", "severe_airway_disease", "slow_heart", "heart_block", "heart_failure"]
FOR_TABLETS = ["kidney_disease", "liver_disease", "sickle_cell"]
OPEN = {"conditions": dict.fromkeys([*HEART_AND_LUNGS, "mao_inhibitor", *FOR_TABLETS], False)}
RESPONDER = {"steroid_responder": True}
GLAUCOMA = {"glaucoma": True}


@pytest.mark.parametrize(
    ("eye", "pressure", "careful"),
    [
        ({}, 21.9, False),
        ({}, 22, True),
        ({}, 28, True),
        ({}, "not done", True),
        (RESPONDER, 14, True),
        (GLAUCOMA, 14, True),
        ({"damaged_nerve": True}, 14, True),
    ],
)
def test_the_nsaid_comes_first_where_the_pressure_is_high_unknown_or_in_danger(
    look, someone, eye, pressure, careful
):
    seen = look(35, someone(eye=eye), macula="oedema", pressure=pressure)
    about = [name for name in seen.ids() if name.startswith("macular-oedema")]
    assert about == (["macular-oedema-nsaid", "macular-oedema"] if careful else ["macular-oedema"])
    if careful:
        assert seen.steps("macular-oedema-nsaid", "right:nsaid") == "2x42"
        assert seen.proposal("macular-oedema-nsaid").direction == "none"
        steroid = seen.proposal("macular-oedema")
        assert steroid.alternative_to == ("macular-oedema-nsaid",)
        assert "can raise the pressure of this eye" in steroid.title
        assert ("pressure", 3, 5, 7) in seen.looks("macular-oedema")
        assert max(last for need, _, _, last in seen.looks("macular-oedema") if need == "pressure") <= 7


def test_where_the_nsaid_may_not_be_given_the_steroid_alone_is_the_second_way(look, someone):
    wheeze = someone(eye=RESPONDER, allergies=[{"to": "aspirin", "reaction": "wheeze"}])
    seen = look(35, wheeze, macula="oedema")
    about = [name for name in seen.ids() if name.startswith("macular-oedema")]
    assert about == ["macular-oedema-neither", "macular-oedema"]
    assert not [
        a for a in seen.proposal("macular-oedema").adjustments if getattr(a, "course", "") == "right:nsaid"
    ]
    free = look(35, someone(allergies=[{"to": "aspirin", "reaction": "wheeze"}]), macula="oedema")
    assert "the NSAID may not be given" in free.proposal("macular-oedema").title


def test_a_leaking_eye_gets_the_nsaid_question_and_no_steroid_for_its_macula(look):
    seen = look(35, macula="oedema", leak="slow")
    assert "macular-oedema" not in seen.ids()
    assert all(p.direction != "raise" for p in seen.outcome.proposals)


@pytest.mark.parametrize(("pressure", "tablets"), [(40, False), (40.5, True), (55, True)])
@pytest.mark.parametrize("day", [3, 10])
def test_tablets_are_offered_over_forty(look, someone, day, pressure, tablets):
    seen = look(day, someone(**OPEN), pressure=pressure)
    offers = {o.medicine: o for o in seen.proposal("pressure-unchanged").offers}
    assert ("acetazolamide-250-tablet" in offers) is tablets
    if tablets:
        one = offers["acetazolamide-250-tablet"]
        assert one.name == "Acetazolamide 250 mg by mouth: 1 tablet 4 times a day, 1000 mg a day in all"


def test_tablets_are_offered_where_no_drop_is_left(look, someone):
    no_drop = someone(eye=GLAUCOMA, allergies=[{"to": "benzalkonium", "reaction": "severe"}], **OPEN)
    seen = look(10, no_drop, pressure=27)
    assert [o.medicine for o in seen.proposal("pressure-unchanged").offers] == ["acetazolamide-250-tablet"]
    some = look(10, someone(eye=GLAUCOMA, **OPEN), pressure=27).proposal("pressure-unchanged").offers
    assert "acetazolamide-250-tablet" not in [o.medicine for o in some]


@pytest.mark.parametrize("block", FOR_TABLETS)
def test_tablets_are_offered_only_after_their_blocks(look, someone, block):
    conditions = OPEN["conditions"] | {block: True}
    seen = look(10, someone(conditions=conditions), pressure=45)
    assert "acetazolamide-250-tablet" not in [o.medicine for o in seen.proposal("pressure-unchanged").offers]
    severe = someone(allergies=[{"to": "sulfonamide", "reaction": "severe"}], **OPEN)
    never = look(10, severe, pressure=45).proposal("pressure-unchanged")
    assert "carbonic anhydrase inhibitor" not in [o.kind for o in never.offers]


def test_chosen_tablets_go_by_mouth_and_not_into_the_eye(look, someone):
    seen = look(10, someone(**OPEN), pressure=45)
    plan = seen.after("pressure-unchanged", offer=("acetazolamide-250-tablet", 3))
    course = plan.course("mouth:acetazolamide-250-tablet")
    assert course.eye is None
    assert course.first_day == seen.outcome.date


def test_where_nothing_may_be_given_the_proposal_says_so(look, someone):
    unnamed = [{"described": "a drop with a yellow cap", "eye": "right"}]
    seen = look(10, someone(eye=GLAUCOMA, in_use=unnamed, **OPEN), pressure=31)
    (only,) = [p for p in seen.outcome.proposals if p.about == "pressure"]
    assert only.offers == ()
    assert any("31 mmHg needs treatment" in text for text in only.cautions)


@pytest.mark.parametrize("days", [7, 28, 90])
def test_an_added_pressure_medicine_ends_only_with_a_look(look, someone, days):
    seen = look(10, someone(eye=GLAUCOMA, **OPEN), pressure=27)
    plan = seen.after("pressure-unchanged", offer=("dorzolamide-2", days))
    last = plan.course("right:dorzolamide-2").last_day
    looks = [
        n for n in plan.needs if n.kind == "pressure" and n.latest <= last and n.key.startswith("right:added")
    ]
    assert max(n.latest for n in looks) == last
    assert max(n.earliest for n in looks) >= last - timedelta(days=3)


def test_offers_are_told_by_name_and_never_by_id(look, someone):
    seen = look(10, someone(eye=GLAUCOMA, **OPEN), pressure=27)
    names = [o.name for o in seen.proposal("pressure-unchanged").offers]
    assert names == [
        "Timolol 0.5%, 2 times a day",
        "Dorzolamide 2%, 3 times a day",
        "Brimonidine 0.2%, 2 times a day",
        "Latanoprost 0.005%, once a day",
    ]


def test_a_quiet_eye_at_26_may_also_keep_its_steroid_and_be_measured_again(look):
    seen = look(14, pressure=26)
    assert [p.id for p in seen.outcome.proposals if p.about == "pressure"] == [
        "pressure-weaker",
        "pressure-unchanged",
    ]
    assert "weaker" not in seen.proposal("pressure-unchanged").title
