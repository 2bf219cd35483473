"""Drops that were stopped, ran out or were lost; and proposals that exclude each other, most urgent first."""

from __future__ import annotations

import pytest

from followup.clinical.review.review import accept
from followup.errors import FollowupError

NEVER_QUIET = {
    "uveitis": {"kind": "anterior", "never_quiet": True, "herpetic": False, "infection_excluded": True}
}


@pytest.mark.parametrize("gone", ["stopped", "run out", "lost"])
@pytest.mark.parametrize("cells", ["0", "0.5+", "1+", "2+", "not seen"])
def test_the_first_proposal_starts_again_today_what_was_ordered(look, gone, cells):
    seen = look(10, cells=cells, drops_taken=gone)
    first = seen.outcome.proposals[0]
    assert first.id == "restart"
    assert first.today
    assert first.adjustments[0].starts == seen.outcome.date
    assert seen.steps("restart") == "3x7 2x7 1x7"
    assert seen.looks("restart") == [("inflammation", 2, 3, 4)]
    assert "go-on" not in seen.ids()
    course = seen.after("restart").course("right:steroid")
    assert course.count_on(seen.outcome.date) == 3


def test_cells_are_read_against_no_drops_where_none_were_taken(look, someone):
    hourly = someone(eye=NEVER_QUIET)
    taken = look(6, hourly, cells="2+")
    assert taken.seniors() == ["cells-at-hourly"]
    lost = look(6, hourly, cells="2+", drops_taken="lost")
    assert (lost.outcome.present_count, lost.outcome.taken_count) == (16, 0)
    assert lost.seniors() == []
    assert lost.ids() == ["restart"], "what was ordered is more than the eight of a first rise"


def test_a_rise_without_drops_goes_to_eight_beside_starting_again(look):
    seen = look(10, cells="2+", drops_taken="stopped")
    assert seen.ids() == ["restart", "raise"]
    assert seen.steps("raise").startswith("8x7 6x7")
    with pytest.raises(FollowupError, match="exclude each other"):
        accept(seen.outcome.proposals, by="Dr Sen", reason="both")


def test_an_eye_whose_drops_are_over_has_nothing_to_start_again(look):
    assert look(40, drops_taken="stopped").ids() == ["go-on"]


def test_drops_without_a_steroid_among_them_are_started_again_too(look, someone):
    depot = {
        "medicine": "dexamethasone-depot",
        "mg": 0.5,
        "place": "behind the iris",
        "form": "slow-release",
        "purpose": "treat",
        "fate": "left",
    }
    using = [{"medicine": "timolol-0-5", "eye": "right", "count_a_day": 2}]
    operation = {"steroid": [depot], "choices": {"depot_course": "no drops"}}
    seen = look(10, someone(operation=operation, in_use=using), drops_taken="run out")
    assert seen.ids()[0] == "restart"
    assert "Timolol 0.5%" in seen.proposal("restart").title


def test_missed_some_is_no_stop(look):
    seen = look(10, drops_taken="missed some")
    assert seen.ids() == ["go-on"]
    assert seen.outcome.taken_count == 3


def test_the_most_urgent_comes_first(look):
    seen = look(9, leak="slow", cells="1+", pressure=23)
    assert seen.ids() == ["leak", "pressure-unchanged", "go-on"]
    high = look(10, drops_taken="run out", pressure=45)
    assert high.ids()[:2] == ["pressure-unchanged", "restart"], "over 40 the surgeon sees the eye now"


@pytest.mark.parametrize("cells", ["0", "0.5+"])
def test_going_on_excludes_what_raises_the_same_course(look, cells):
    seen = look(14, cells=cells, macula="oedema")
    both = [seen.proposal("go-on"), seen.proposal("macular-oedema")]
    with pytest.raises(FollowupError, match="exclude each other"):
        accept(both, by="Dr Sen", reason="both")


def test_going_on_excludes_what_lowers_the_same_course_and_not_a_look_alone(look):
    seen = look(14, pressure=27)
    assert seen.proposal("go-on").opposes == ("pressure-weaker",)
    assert accept([seen.proposal("go-on"), seen.proposal("pressure-unchanged")], by="Dr Sen", reason="-")


def test_a_rescue_and_the_steroid_for_the_macula_are_one_course_and_never_two(look, someone):
    depot = {
        "medicine": "dexamethasone-depot",
        "mg": 0.5,
        "place": "behind the iris",
        "form": "slow-release",
        "purpose": "treat",
        "fate": "left",
    }
    data = someone(operation={"steroid": [depot], "choices": {"depot_course": "no drops"}})
    seen = look(30, data, cells="1+", macula="oedema")
    plan = seen.after("rescue", "macular-oedema")
    steroids = [c for c in plan.courses if c.role == "steroid" and c.state != "stopped"]
    assert len(steroids) == 1
    assert steroids[0].count_on(seen.outcome.date) == 8


def test_a_weak_steroid_from_before_does_not_take_the_rescue_away(look, someone):
    depot = {
        "medicine": "dexamethasone-depot",
        "mg": 0.5,
        "place": "behind the iris",
        "form": "slow-release",
        "purpose": "treat",
        "fate": "left",
    }
    operation = {"steroid": [depot], "choices": {"depot_course": "no drops"}}
    before = [{"medicine": "fluorometholone-0-1", "described": "weak", "eye": "right", "count_a_day": 1}]
    seen = look(10, someone(operation=operation, in_use=before), cells="1+")
    assert "rescue" in [p.id for p in seen.outcome.proposals]
    added = [c for c in seen.after("rescue").courses if c.role == "steroid" and c.state != "stopped"]
    assert max(c.count_on(seen.outcome.date) for c in added) == 8
