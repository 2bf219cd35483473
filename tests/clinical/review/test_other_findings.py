"""Leaks, blood, macula, cornea, stitches: common practice, no source, unless named."""

from __future__ import annotations

import pytest

ANTIBIOTIC, NSAID = "levofloxacin-0-5", "bromfenac-0-09"


def test_a_leak_holds_the_nsaid_gives_the_antibiotic_and_is_seen_on_the_next_and_the_third_day(look):
    seen = look(4, leak="slow")
    assert seen.looks("leak") == [("leak", 1, 1, 1), ("leak", 3, 3, 3)]
    plan = seen.after("leak")
    assert plan.course("right:nsaid").state == "held"
    antibiotic = plan.course("right:antibiotic")
    assert [antibiotic.count_on(seen.outcome.date.replace(day=6 + i)) for i in range(1, 7)] == [4] * 6


def test_a_leak_never_shortens_an_antibiotic_that_runs_longer(look, someone):
    seen = look(4, someone(operation={"vitreous_lost": True}), leak="slow")
    assert (
        seen.after("leak").course("right:antibiotic").last_day
        == seen.after().course("right:antibiotic").last_day
    )


def test_a_leaking_eye_is_given_no_more_steroid_whatever_the_cells(look):
    seen = look(7, leak="fast", cells="2+")
    assert "raise" not in seen.ids()
    assert seen.ids()[0] == "not-raised"
    before, after = (p.course("right:steroid") for p in (seen.after(), seen.after("not-raised", "leak")))
    top = max(step.count for step in before.steps)
    assert max(step.count for step in after.steps) == top


def test_a_closed_wound_lets_the_nsaid_go_from_the_day_that_saw_it(look):
    seen = look(7, before={4: {"leak": "slow"}}, leak="none")
    course = seen.after().course("right:nsaid")
    assert course.state == "active"
    assert course.first_day == seen.outcome.date
    assert sum(step.days for step in course.steps) == 14


def test_blood_holds_the_nsaid_and_is_looked_at_three_times(look):
    seen = look(3, blood="level")
    assert seen.looks("blood") == [("chamber", 1, 1, 1), ("chamber", 2, 3, 4), ("chamber", 4, 5, 6)]
    assert seen.after("blood").course("right:nsaid").state == "held"
    gone = look(6, before={3: {"blood": "level"}}, blood="none")
    assert gone.after().course("right:nsaid").first_day == gone.outcome.date


def test_a_look_that_the_plan_has_already_is_not_asked_for_twice(look):
    first = look(3, blood="level")
    signed = first.after("blood")
    edits = tuple(first.proposal("blood").adjustments)
    second = look(3, blood="level", edits=edits)
    assert len([n for n in signed.needs if n.kind == "chamber"]) == 3
    assert second.looks("blood") == []


@pytest.mark.parametrize(("first", "stays"), [(34, True), (35, False)])
def test_macular_oedema_without_gain_for_84_days_goes_to_the_retina_surgeon(look, first, stays):
    # On day 118 the follow-up of a routine eye is still open: 90 days after its last drop.
    before = {first: {"macula": "oedema"}, 70: {"macula": "not seen"}}
    seen = look(118, before=before, macula="oedema")
    assert ("macular-oedema-stays" in seen.ids()) is stays


def test_macular_oedema_that_was_gone_meanwhile_begins_anew(look):
    seen = look(118, before={30: {"macula": "oedema"}, 70: {"macula": "dry"}}, macula="oedema")
    assert "macular-oedema-stays" not in seen.ids()


@pytest.mark.parametrize(
    ("found", "name"), [({"loose_stitch": "yes"}, "loose-stitch"), ({"stitches_out": True}, "stitch-out")]
)
def test_after_each_stitch_the_antibiotic_is_given_for_five_days(look, someone, found, name):
    seen = look(30, someone(operation={"stitches": 1}), **found)
    plan = seen.after(name)
    antibiotic = plan.course("right:antibiotic")
    assert sum(s.count * s.days for s in antibiotic.steps if s.start > seen.outcome.date) == 20
    assert seen.proposal(name).today is (name == "loose-stitch")


def test_a_defect_of_the_cornea_stops_the_nsaid(look):
    seen = look(7, epithelial_defect="yes")
    course = seen.after("corneal-defect").course("right:nsaid")
    assert (course.state, (seen.outcome.date - course.last_day).days) == ("active", 1), (
        "no drop from today on"
    )
    assert seen.looks("corneal-defect") == [("cornea-stain", 1, 2, 3)]
