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


@pytest.mark.parametrize(
    ("found", "flag"),
    [
        # The four signs of infection, AAO Preferred Practice Pattern 2016 (P).
        ({"vision_falling": "yes"}, "vision-falling"),
        ({"pain": "yes"}, "pain"),
        ({"redness_growing": "yes"}, "redness-growing"),
        ({"lid_swelling": "yes"}, "lid-swelling"),
        # Peck 2021 (P).
        ({"hypopyon": "yes"}, "hypopyon"),
        ({"fibrin": "yes"}, "fibrin"),
        # Common practice, no source.
        ({"retina": "tear"}, "detached"),
        ({"retina": "detached"}, "detached"),
        # Wills Eye Manual, 8th edition (S).
        ({"chamber": "flat"}, "flat"),
        ({"chamber": "shallow", "pressure": 22}, "blocked"),
    ],
)
def test_a_red_flag_stops_every_proposal(look, found, flag):
    seen = look(7, **{"cells": "2+", "pressure": 28, "leak": "slow"} | found)
    assert seen.seniors() == [flag]
    assert seen.outcome.proposals == ()
    assert all(c.level == "stop" and c.reasons for c in seen.outcome.senior)


@pytest.mark.parametrize(
    "found", [{}, {"chamber": "shallow", "pressure": 21.9}, {"hypopyon": "not seen"}, {"pain": "no"}]
)
def test_without_a_red_flag_there_is_a_proposal(look, found):
    seen = look(7, **found)
    assert seen.seniors() == []
    assert seen.ids()


@pytest.mark.parametrize(("day", "toxic"), [(1, True), (2, True), (3, False)])
def test_swelling_of_the_whole_cornea_within_two_days_is_the_toxic_syndrome(look, day, toxic):
    """Published description of the toxic anterior segment syndrome: hours 12 to 48 (P)."""
    assert ("toxic" in look(day, cornea="whole oedema").seniors()) is toxic


def test_a_white_level_may_be_steroid_only_where_crystals_were_recorded_and_the_action_stays(look, someone):
    without = look(4, hypopyon="yes")
    with_crystals = look(4, someone(operation={"steroid": CRYSTALS}), hypopyon="yes")
    assert without.seniors() == ["hypopyon"]
    assert with_crystals.seniors() == ["hypopyon", "hypopyon-crystals"]
    assert with_crystals.outcome.proposals == ()


@pytest.mark.parametrize(
    ("day", "asked"),
    [
        (1, {"leak", "cornea", "chamber", "fibrin", "hypopyon", "blood", "pain"}),
        (7, {"hypopyon", "vision-falling", "pain", "redness-growing", "lid-swelling"}),
        (35, set()),
    ],
)
def test_a_look_that_saw_nothing_is_asked_for_all_that_its_day_needs(look, day, asked):
    always = {"eye-confirmed", "drops-taken", "technique-seen", "vision", "cells", "flare", "pressure"}
    seen = look(day, whole=False)
    assert seen.missing() >= always | asked
    assert seen.ids() == []


def test_a_whole_look_misses_nothing(look):
    for day in (1, 7, 14, 35):
        assert look(day).missing() == set()


def test_an_eye_that_was_not_confirmed_is_asked_for_again(look):
    assert look(7, eye_confirmed=False).missing() == {"eye-confirmed"}


@pytest.mark.parametrize("word", ["not seen"])
@pytest.mark.parametrize("finding", ["vision_falling", "pain", "hypopyon", "fibrin", "leak", "chamber"])
def test_not_seen_is_asked_and_never_counts_as_no(look, finding, word):
    seen = look(1, **{finding: word})
    assert seen.missing() == {finding.replace("_", "-")}


def test_a_child_is_followed_by_hand_but_a_red_flag_is_still_said(look, someone):
    child = someone(birth_date="2016-05-05")
    calm = look(1, child)
    assert calm.notes() == ["by-hand"]
    assert calm.ids() == []
    assert look(4, child, hypopyon="yes").seniors() == ["hypopyon"]
