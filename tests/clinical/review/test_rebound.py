"""Inflammation that comes back in an eye with uveitis: from day 28 on, also where it was never quiet."""

from __future__ import annotations

import pytest

KNOWN = {"kind": "anterior", "herpetic": False, "infection_excluded": True}
UVEITIC = {"uveitis": KNOWN | {"last_active": "2025-06-01"}}
NEVER_QUIET = {"uveitis": KNOWN | {"never_quiet": True}}
ROW = "6x7 5x14 4x14 3x14 2x14 1x14"


@pytest.mark.parametrize("eye", [UVEITIC, NEVER_QUIET])
@pytest.mark.parametrize("before", ["0", "1+"])
@pytest.mark.parametrize("day", [28, 40, 77, 78, 120, 160])
def test_1_plus_from_day_28_on_is_a_rebound_while_the_taper_runs_and_ninety_days_after(
    look, someone, eye, before, day
):
    seen = look(day, someone(eye=eye), cells="1+", before={21: {"cells": before}})
    assert seen.ids()[0] == "rebound"
    assert seen.steps("rebound") == f"8x7 {ROW}"
    assert seen.looks("rebound") == [("inflammation", 2, 3, 4)]


@pytest.mark.parametrize("eye", [UVEITIC, NEVER_QUIET])
@pytest.mark.parametrize("day", [5, 14, 20, 27])
def test_1_plus_before_day_28_is_at_its_limit_and_the_taper_goes_on(look, someone, eye, day):
    seen = look(day, someone(eye=eye), cells="1+", before={4: {"cells": "1+"}})
    assert seen.ids() == ["go-on"]


def test_2_plus_on_eight_a_day_at_a_rebound_goes_above_the_present_count(look, someone):
    first = look(30, someone(eye=UVEITIC), cells="1+")
    again = look(33, someone(eye=UVEITIC), cells="2+", edits=first.proposal("rebound").adjustments)
    assert again.outcome.present_count == 8
    assert again.steps("rebound").startswith("16x3 8x4 6x7 5x14")


def test_an_eye_without_uveitis_that_was_never_quiet_is_held_and_not_called_a_rebound(look):
    seen = look(18, cells="1+", before={7: {"cells": "1+"}, 14: {"cells": "1+"}})
    assert seen.ids() == ["hold"]
