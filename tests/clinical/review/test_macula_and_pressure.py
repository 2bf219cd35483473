"""Macular oedema where the pressure is in danger; tablets; an added medicine ends only with a look."""

from __future__ import annotations

from datetime import timedelta

import pytest

HEART_AND_LUNGS = ["asthma", "severe_airway_disease", "slow_heart", "heart_block", "heart_failure"]
FOR_TABLETS = ["kidney_disease", "liver_disease", "sickle_cell"]
OPEN = {"conditions": dict.fromkeys([*HEART_AND_LUNGS, "mao_inhibitor", *FOR_TABLETS], False)}
RESPONDER = {"steroid_responder": True}
GLAUCOMA = {"glaucoma": True}


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
