"""Reviews against where their figures were published.

P published text or abstract seen, S seen in a secondary copy, M from memory, C common practice.
"""

from __future__ import annotations

import re

import pytest

from followup.clinical.protocol.reviews import GRADES
from followup.clinical.record import Findings


def test_jabs_2005_cells_are_graded_by_their_number_in_a_field_of_one_millimetre():
    # Jabs, Am J Ophthalmol 2005;140:509 (S): 0 under 1; 0.5+ 1-5; 1+ 6-15; 2+ 16-25; 3+ 26-50; 4+ over 50.
    assert GRADES == ("0", "0.5+", "1+", "2+", "3+", "4+")
    words = Findings.model_json_schema()["properties"]["cells"]["description"]
    counts = dict(re.findall(r"(0|0\.5\+|1\+|2\+|3\+|4\+): ([a-z]* ?[\d]+(?:-\d+)?)", words))
    assert counts == {
        "0": "under 1",
        "0.5+": "1-5",
        "1+": "6-15",
        "2+": "16-25",
        "3+": "26-50",
        "4+": "over 50",
    }


def test_jabs_2005_flare_has_no_half_step():
    # Jabs, Am J Ophthalmol 2005;140:509 (S).
    schema = Findings.model_json_schema()["properties"]["flare"]
    assert schema["anyOf"][0]["enum"] == ["0", "1+", "2+", "3+", "4+", "not seen"]


@pytest.mark.parametrize(
    ("before", "cells", "more"), [("0.5+", "2+", True), ("0", "1+", True), ("0.5+", "1+", False)]
)
def test_sun_two_steps_up_is_worse_and_gets_more_steroid(looked, before, cells, more):
    # SUN definition of worse (M: from memory).
    told = {"reviews": [{"date": 1, "cells": before}]}
    outcome = looked(7, told, cells=cells)
    assert any(p.id in ("raise", "rebound") for p in outcome.proposals) is more


@pytest.mark.parametrize(("day", "open_"), [(118, True), (119, False)])
def test_artornsombudh_2013_an_eye_quiet_for_90_days_after_treatment_is_in_remission(looked, day, open_):
    # Artornsombudh 2013 (P): remission is 90 days without inflammation after the last treatment.
    told = {}
    if open_:
        assert any(p.id == "rebound" for p in looked(day, told, cells="1+").proposals)
    else:
        with pytest.raises(Exception, match="ended"):
            looked(day, told, cells="1+")


def test_peck_2021_infection_is_looked_for_around_day_six_and_without_pain(looked):
    # Peck 2021 (P): endophthalmitis at a median of day 6, a quarter of them without pain.
    asked = {q.id for q in looked(6).missing}
    assert {"missing-vision-falling", "missing-redness-growing", "missing-lid-swelling"} <= asked
    assert looked(6, hypopyon="yes", pain="no").senior


@pytest.mark.parametrize(("pressure", "treated"), [(30, False), (30.5, True)])
def test_wills_most_eyes_over_30_after_surgery_are_treated(looked, pressure, treated):
    # Wills Eye Manual, 8th edition (S).
    healthy = dict.fromkeys(
        ["asthma", "severe_airway_disease", "slow_heart", "heart_block", "heart_failure", "mao_inhibitor"],
        False,
    )
    outcome = looked(3, {"conditions": healthy}, pressure=pressure, cells="1+")
    assert any(p.offers for p in outcome.proposals) is treated
