"""Findings for a senior the same day: they stop every proposal, and what was not seen is never normal."""

from __future__ import annotations

import pytest

CRYSTALS = [
    {
        "medicine": "triamcinolone-injection",
        "mg": 2,
        "place": "chamber",
        "form": "crystals",
        "purpose": "treat",
        "fate": "left",
    }
]


def test_a_child_is_followed_by_hand_but_a_red_flag_is_still_said(look, someone):
    child = someone(birth_date="2016-05-05")
    calm = look(1, child)
    assert calm.notes() == ["by-hand"]
    assert calm.ids() == []
    assert look(4, child, hypopyon="yes").seniors() == ["hypopyon"]


def test_a_red_flag_stops_every_proposal(look):
    seen = look(7, hypopyon="yes", cells="2+", pressure=28, leak="slow")
    assert seen.seniors() == ["hypopyon"]
    assert seen.outcome.proposals == ()
    assert all(c.level == "stop" and c.reasons for c in seen.outcome.senior)


@pytest.mark.parametrize("finding", ["vision_falling", "pain", "hypopyon", "fibrin", "leak", "chamber"])
def test_not_seen_is_asked_and_never_counts_as_no(look, finding):
    seen = look(1, **{finding: "not seen"})
    assert seen.missing() == {finding.replace("_", "-")}
