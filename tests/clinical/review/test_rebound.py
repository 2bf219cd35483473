"""Inflammation that comes back in an eye with uveitis: from day 28 on, also where it was never quiet."""

from __future__ import annotations

KNOWN = {"kind": "anterior", "herpetic": False, "infection_excluded": True}
UVEITIC = {"uveitis": KNOWN | {"last_active": "2025-06-01"}}
NEVER_QUIET = {"uveitis": KNOWN | {"never_quiet": True}}
ROW = "6x7 5x14 4x14 3x14 2x14 1x14"


def test_2_plus_on_eight_a_day_at_a_rebound_goes_above_the_present_count(look, someone):
    first = look(30, someone(eye=UVEITIC), cells="1+")
    again = look(33, someone(eye=UVEITIC), cells="2+", edits=first.proposal("rebound").adjustments)
    assert again.outcome.present_count == 8
    assert again.steps("rebound").startswith("16x3 8x4 6x7 5x14")


def test_an_eye_without_uveitis_that_was_never_quiet_is_held_and_not_called_a_rebound(look):
    seen = look(18, cells="1+", before={7: {"cells": "1+"}, 14: {"cells": "1+"}})
    assert seen.ids() == ["hold"]
