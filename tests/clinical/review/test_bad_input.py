"""Findings that can't be right: one clear line each, before anything is stored."""

from __future__ import annotations

import pytest

from followup.clinical.record import parse_findings
from followup.errors import FollowupError

GOOD = {"eye": "right", "date": "2026-03-09"}


@pytest.mark.parametrize(
    ("found", "where", "what"),
    [
        ({"pressure": 300}, "findings: pressure", "90"),
        ({"pressure": -1}, "findings: pressure", "0"),
        ({"pressure": "high"}, "findings: pressure", "not done"),
        ({"cells": "2.5+"}, "findings: cells", "'2+'"),
        ({"cells": 2}, "findings: cells", "'2+'"),
        ({"flare": "0.5+"}, "findings: flare", "'1+'"),
        ({"eye": "both"}, "findings: eye", "'left'"),
        ({"date": "2026-02-30"}, "findings: date", "YYYY-MM-DD"),
        ({"date": "0926-03-09"}, "findings: date", "year"),
        ({"hypopyon": True}, "findings: hypopyon", "'yes'"),
        ({"cells_seen": "2+"}, "findings: cells_seen", "is not known"),
    ],
)
def test_a_field_that_can_not_be_right_is_named(found, where, what):
    with pytest.raises(FollowupError) as told:
        parse_findings(GOOD | found)
    assert told.value.where == where
    assert what in told.value.what
    assert "\n" not in told.value.line


def test_eye_and_date_are_needed():
    for missing in ("eye", "date"):
        with pytest.raises(FollowupError, match=f"findings: {missing}"):
            parse_findings({k: v for k, v in GOOD.items() if k != missing})


def test_a_look_before_surgery_is_refused(look):
    with pytest.raises(FollowupError, match="lies before the operation of 2026-03-02") as told:
        look(-1)
    assert told.value.code == "review.eye"


def test_a_look_at_the_eye_that_was_not_operated_is_refused(look):
    with pytest.raises(FollowupError, match="the left eye was not operated") as told:
        look(7, eye="left")
    assert told.value.code == "review.eye"


def test_a_look_after_the_follow_up_has_ended_is_refused(look, someone):
    assert look(118).ids(), "90 days after the last drop a rebound may still come"
    with pytest.raises(FollowupError, match="the follow-up of the right eye ended on 2026-06-28") as told:
        look(119)
    assert told.value.code == "review.ended"


def test_an_eye_whose_follow_up_ended_before_the_other_was_operated_is_over(look, someone):
    both = someone(more_operations=[{"eye": "left", "eye_drawn": "left", "date": "2026-09-01"}])
    with pytest.raises(FollowupError, match="ended"):
        look(1, both, eye="right")
    assert look(1, both, eye="left").ids()
