"""What a bottle's own conditions do to its times, and what is refused."""

from __future__ import annotations

import pytest

from followup.errors import FollowupError
from followup.timing.rounds import Phase, RoundBottle, plan_rounds


def times_of(bottle, count, slots=17, **options):
    plan = plan_rounds(slots, [Phase(7, {bottle.key: count})], [bottle], **options)
    return plan.phases[0].bottle_times[bottle.key]


def test_the_shortest_interval_counts_the_night_as_a_gap():
    # 16 hours awake leave 8 hours of night: three a day, 8 hours apart, fit exactly once.
    assert times_of(RoundBottle("tablet", shortest=8), 3) == (0, 8, 16)
    # Two, 13 hours apart, would fit the 16 hours of the day, but 11 are left until the next morning.
    with pytest.raises(FollowupError, match="tablet") as refused:
        times_of(RoundBottle("tablet", shortest=13), 2)
    assert refused.value.code == "rounds.impossible"


def test_a_bedtime_ointment_stays_at_bedtime_and_other_bottles_join_it():
    plan = plan_rounds(
        17,
        [Phase(7, {"drops": 2, "ointment": 1})],
        [RoundBottle("drops"), RoundBottle("ointment", allowed=frozenset({16}))],
    )
    assert plan.phases[0].times == (4, 16)
    assert plan.phases[0].bottle_times == {"drops": (4, 16), "ointment": (16,)}


def test_fixed_times_from_before_are_kept_and_draw_the_others_to_them():
    plan = plan_rounds(
        17,
        [Phase(7, {"old": 2, "new": 2})],
        [RoundBottle("old", fixed=frozenset({2, 15})), RoundBottle("new")],
    )
    assert plan.phases[0].times == (2, 15)


def test_a_bottle_may_be_needed_more_often_later():
    plan = plan_rounds(17, [Phase(7, {"a": 2}), Phase(7, {"a": 8})], [RoundBottle("a")])
    assert [len(phase.times) for phase in plan.phases] == [2, 8]
    assert set(plan.phases[0].times) <= set(plan.phases[1].times)


def test_a_phase_without_drops_has_no_rounds():
    plan = plan_rounds(17, [Phase(7, {"a": 1}), Phase(3, {}), Phase(7, {"a": 1})], [RoundBottle("a")])
    assert [phase.times for phase in plan.phases] == [(0,), (), (0,)]
    assert plan.cost == 14 * 24**2 + 100


def test_no_phases_make_an_empty_plan():
    plan = plan_rounds(17, [], [RoundBottle("a")])
    assert (plan.phases, plan.rounds_days, plan.cost) == ((), 0, 0)


def test_times_of_the_old_sheet_outside_the_waking_day_help_nobody():
    assert times_of(RoundBottle("a"), 2, previous=frozenset({-3, 40})) == (0, 12)


IMPOSSIBLE = {
    "more often than there are slots": (RoundBottle("bad"), 18),
    "an interval too long": (RoundBottle("bad", shortest=13), 2),
    "an interval of more than a day": (RoundBottle("bad", shortest=25), 1),
    "too few allowed slots": (RoundBottle("bad", allowed=frozenset({3})), 2),
    "allowed slots outside the day": (RoundBottle("bad", allowed=frozenset({17, -1})), 1),
    "fixed times of another count": (RoundBottle("bad", fixed=frozenset({1, 9})), 3),
    "a fixed time outside the day": (RoundBottle("bad", fixed=frozenset({1, 17})), 2),
    "a fixed time that is not allowed": (RoundBottle("bad", allowed=frozenset({1}), fixed=frozenset({2})), 1),
    "fixed times closer than the interval": (RoundBottle("bad", shortest=4, fixed=frozenset({1, 2})), 2),
}


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_a_count_that_has_no_place_is_refused_by_bottle_and_phase(name):
    bottle, count = IMPOSSIBLE[name]
    with pytest.raises(FollowupError) as refused:
        plan_rounds(
            17, [Phase(1, {"good": 1}), Phase(2, {"good": 1, "bad": count})], [RoundBottle("good"), bottle]
        )
    assert refused.value.code == "rounds.impossible"
    assert refused.value.where == "bad, phase 2"
    assert str(count) in refused.value.what


SENSELESS = {
    "no slot": (0, [Phase(1, {"a": 1})], 100),
    "too many slots": (21, [Phase(1, {"a": 1})], 100),
    "an unknown bottle": (17, [Phase(1, {"z": 1})], 100),
    "a negative price": (17, [Phase(1, {"a": 1})], -1),
    "a phase of no days": (17, [Phase(0, {"a": 1})], 100),
    "a count of nothing": (17, [Phase(1, {"a": 0})], 100),
    "days beyond exact sums": (17, [Phase(10**9, {"a": 1})], 10**12),
}


@pytest.mark.parametrize("name", SENSELESS)
def test_a_senseless_question_is_refused_in_one_line(name):
    slots, phases, price = SENSELESS[name]
    with pytest.raises(FollowupError) as refused:
        plan_rounds(slots, phases, [RoundBottle("a")], price=price)
    assert refused.value.code == "rounds.input"
    assert "\n" not in refused.value.line


@pytest.mark.parametrize("bottles", [[RoundBottle("a"), RoundBottle("a", 2)], [RoundBottle("a", shortest=0)]])
def test_bottles_with_one_key_or_no_interval_are_refused(bottles):
    with pytest.raises(FollowupError) as refused:
        plan_rounds(17, [Phase(1, {"a": 1})], bottles)
    assert refused.value.code == "rounds.input"
