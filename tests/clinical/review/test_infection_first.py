"""Infection is asked about before more steroid; a red flag asks nothing and says what to do now."""

from __future__ import annotations

import pytest

SIGNS = ["pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin"]
UVEITIC = {
    "uveitis": {
        "kind": "anterior",
        "last_active": "2025-06-01",
        "herpetic": False,
        "infection_excluded": True,
    }
}


@pytest.mark.parametrize("sign", SIGNS)
def test_every_sign_is_asked_before_a_proposal_for_the_steroid_is_shown(look, sign):
    seen = look(12, cells="2+", **{sign: "not seen"})
    assert seen.missing() == {sign.replace("_", "-")}
    assert seen.outcome.proposals == ()
    assert seen.outcome.waits


def test_a_step_back_and_a_raise_for_the_macula_wait_as_well(look):
    worse = look(15, cells="1+", before={7: {"cells": "0.5+"}}, pain="not seen")
    assert "step-back" not in worse.ids()
    assert "pain" in worse.missing()
    macula = look(35, macula="oedema", fibrin="not seen")
    assert "macular-oedema" not in macula.ids()
    assert "fibrin" in macula.missing()


def test_what_is_not_about_the_steroid_is_shown_meanwhile(look):
    seen = look(7, cells="2+", pain="not seen", pressure=41, leak="slow")
    assert {"pressure-unchanged", "leak"} <= set(seen.ids())


def test_cells_as_expected_ask_no_more_than_the_day_does(look):
    seen = look(20, cells="0.5+", **dict.fromkeys(SIGNS))
    assert seen.missing() == set()
    assert "go-on" in seen.ids()


@pytest.mark.parametrize("sign", SIGNS)
def test_a_red_flag_asks_nothing_else_and_says_what_to_do_now(look, sign):
    seen = look(6, whole=False, **{sign: "yes"})
    assert seen.outcome.missing == ()
    assert seen.outcome.proposals == ()
    now = " ".join(seen.outcome.now)
    assert "Call the senior surgeon now" in now
    assert "Dexamethasone 0.1% 4 a day" in now
    assert "Levofloxacin 0.5% 4 a day" in now
    assert "No drop is added, raised or lowered" in now


def test_a_detachment_calls_the_retina_surgeon_and_hypopyon_beside_it_the_senior_too(look):
    retina = " ".join(look(30, retina="detached").outcome.now)
    assert "retina surgeon" in retina
    assert "senior surgeon" not in retina
    both = " ".join(look(30, retina="detached", hypopyon="yes").outcome.now)
    assert "retina surgeon" in both
    assert "senior surgeon" in both


def test_what_the_finding_itself_holds_is_not_said_to_go_on(look, someone):
    seen = look(3, someone(conditions={"sickle_cell": True}), blood="level", pressure=26)
    now = " ".join(seen.outcome.now)
    assert "Not given before the eye has been seen: Bromfenac 0.09%." in now
    assert "these go on as ordered: Dexamethasone 0.1% 4 a day and Levofloxacin 0.5% 4 a day" in now


def test_a_pressure_over_forty_is_still_said_beside_a_red_flag(look):
    seen = look(4, hypopyon="yes", pressure=45)
    assert seen.notes() == ["pressure-now"]


def test_drops_that_ran_out_are_started_again_while_the_senior_is_on_the_way(look):
    now = " ".join(look(6, pain="yes", drops_taken="run out").outcome.now)
    assert "The drops were not taken: until then start again as ordered: Dexamethasone 0.1% 4 a day" in now


@pytest.mark.parametrize("cells", ["1+", "2+"])
def test_lens_material_is_asked_first_where_a_quiet_eye_has_cells_again_on_day_14(look, cells):
    asked = look(14, cells=cells, before={7: {"cells": "0"}}, lens_material="not seen")
    assert "lens-material" in asked.missing()
    assert asked.ids() == []
    free = look(14, cells=cells, before={7: {"cells": "0"}}, lens_material="no")
    assert free.ids()
    left = look(14, cells=cells, before={7: {"cells": "0"}}, lens_material="yes")
    assert left.ids()[0] == "lens-material"
    assert left.looks("lens-material") == [("surgeon", 1, 1, 3)]
