"""A look is read against the plan in force when the patient came; an open cornea is a senior's decision.

Common practice, no source, unless named.
"""

from __future__ import annotations

import pytest

UVEITIC = {
    "uveitis": {
        "kind": "anterior",
        "last_active": "2025-06-01",
        "herpetic": False,
        "infection_excluded": True,
    }
}
NEVER_QUIET = {
    "uveitis": {"kind": "anterior", "never_quiet": True, "herpetic": False, "infection_excluded": True}
}
HERPES = {
    "herpetic_keratitis": {"year": 2019, "active_epithelial_disease": False, "antiviral_cover": True},
    "corneal_feeling": "normal",
}
HERPETIC_UVEITIS = {
    "uveitis": {
        "kind": "herpetic",
        "last_active": "2025-06-01",
        "herpetic": True,
        "infection_excluded": True,
    }
}


@pytest.mark.parametrize("found", [{"epithelial_defect": "yes"}, {"cornea": "whole oedema"}])
def test_the_present_count_is_that_of_the_plan_in_force_whatever_the_look_holds(look, found):
    seen = look(7, cells="1+", **found)
    assert seen.after().course("right:steroid").state == "held", "phosphate, in the plan made with the look"
    assert seen.outcome.present_count == 4


def test_a_defect_never_takes_the_call_at_the_hourly_count_away(look, someone):
    seen = look(6, someone(eye=NEVER_QUIET), cells="2+", epithelial_defect="yes")
    assert seen.outcome.present_count == 16
    assert {"cells-at-hourly", "defect-inflamed"} == set(seen.seniors())


def test_a_defect_that_an_earlier_look_saw_leaves_the_count_what_is_really_taken(look):
    seen = look(9, cells="1+", before={7: {"epithelial_defect": "yes"}}, epithelial_defect="yes")
    assert seen.outcome.present_count == 3


@pytest.mark.parametrize("day", [1, 4, 7, 30])
@pytest.mark.parametrize(
    ("found", "flag"),
    [({"epithelial_defect": "yes"}, "defect-inflamed"), ({"cornea": "whole oedema"}, "swollen-inflamed")],
)
def test_an_open_or_swollen_cornea_beside_2_plus_is_for_a_senior_the_same_day(look, day, found, flag):
    assert flag in look(day, cells="2+", **found).seniors()
    assert flag not in look(day, cells="1+", **found).seniors()


@pytest.mark.parametrize(("day", "called"), [(1, False), (4, False), (5, True), (20, True)])
def test_a_hazy_centre_beside_2_plus_calls_from_the_day_on_which_2_plus_would_ask_for_more(look, day, called):
    assert bool(look(day, cells="2+", cornea="central haze").seniors()) is called


def test_the_steroid_goes_on_without_phosphate_from_today_where_the_cornea_is_open(look):
    seen = look(7, cells="1+", epithelial_defect="yes")
    plan = seen.after("go-on", "corneal-defect")
    old, new = plan.course("right:steroid"), plan.course("right:prednisolone-acetate-1")
    assert old.last_day < seen.outcome.date == new.first_day
    assert [(s.count, s.days) for s in new.steps] == [(4, 1), (3, 7), (2, 7), (1, 7)]
    assert "phosphate" not in seen.protocol.formulary[new.medicine].excipients
    assert plan.questions == (), "nothing is left to ask"


def test_a_hold_on_an_open_cornea_holds_with_the_other_steroid(look):
    seen = look(14, cells="1+", before={7: {"cells": "1+"}}, epithelial_defect="yes")
    assert seen.steps("hold", "prednisolone-acetate-1") == "3x8 2x7 1x7"


def test_cells_nobody_saw_leave_the_change_of_steroid_alone_to_be_proposed(look):
    seen = look(7, cells="not seen", epithelial_defect="yes")
    assert "other-steroid" in seen.ids()
    assert "go-on" not in seen.ids()


def test_no_offered_pressure_drop_has_phosphate_where_the_cornea_is_open(look, someone):
    free = dict.fromkeys(
        ["asthma", "severe_airway_disease", "slow_heart", "heart_block", "heart_failure", "mao_inhibitor"],
        False,
    )
    seen = look(10, someone(eye={"glaucoma": True}, conditions=free), pressure=27, epithelial_defect="yes")
    offers = seen.proposal("pressure-unchanged").offers
    assert offers
    assert all("phosphate" not in seen.protocol.formulary[o.medicine].excipients for o in offers)


def test_an_nsaid_is_stopped_on_the_very_day_that_the_defect_is_seen(look):
    seen = look(7, epithelial_defect="yes")
    course = seen.after("corneal-defect", "go-on").course("right:nsaid")
    assert course.count_on(seen.outcome.date) == 0


@pytest.mark.parametrize("eye", [HERPES, HERPETIC_UVEITIS])
@pytest.mark.parametrize(("day", "cells"), [(1, "0"), (9, "0"), (40, "0.5+")])
def test_a_defect_in_an_eye_that_had_herpes_is_herpes_again_and_nobody_goes_on(
    look, someone, eye, day, cells
):
    seen = look(day, someone(eye=eye), cells=cells, epithelial_defect="yes")
    assert "herpes-again" in seen.seniors()
    assert seen.ids() == []
    assert look(day, someone(eye=eye), cells=cells, epithelial_defect="no").seniors() == []


def test_no_steroid_drop_is_given_on_herpes_before_the_eye_has_been_seen(look, someone):
    now = " ".join(look(9, someone(eye=HERPES), epithelial_defect="yes").outcome.now)
    assert "Not given before the eye has been seen: Dexamethasone 0.1% and Bromfenac 0.09%." in now
    assert "no steroid drop before" in now


def test_4_plus_calls_a_senior_on_any_day(look):
    assert look(1, cells="4+").seniors() == ["cells-3"]
    assert look(1, cells="3+").seniors() == []


def test_the_weaker_steroid_gives_way_to_one_without_phosphate_and_never_to_the_strongest(look, someone):
    responder = someone(eye={"steroid_responder": True})
    responder["operations"][0]["choices"] = {"responder_course": "A"}
    seen = look(12, responder, cells="0", epithelial_defect="yes")
    plan = seen.after("go-on")
    now = [c for c in plan.courses if c.role == "steroid" and c.count_on(seen.outcome.date)]
    (medicine,) = (seen.protocol.formulary[c.medicine] for c in now)
    assert "phosphate" not in medicine.excipients
    assert medicine.potency == "moderate", "the next above the weak one that was given"
