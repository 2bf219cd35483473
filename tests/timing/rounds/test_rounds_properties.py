"""What holds for every timetable, whatever its regimen."""

from __future__ import annotations

from itertools import combinations, pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from followup.timing.rounds import Phase, RoundBottle, plan_rounds

SLOTS = st.integers(6, 13)
COUNTS = st.dictionaries(st.sampled_from("abc"), st.integers(1, 6), min_size=1)
PHASES = st.lists(st.builds(Phase, st.integers(1, 30), COUNTS), min_size=1, max_size=4)
PREVIOUS = st.none() | st.frozensets(st.integers(0, 12), max_size=5)
PRICES = st.sampled_from([0, 1, 30, 100, 10**9])
BOTTLES = [RoundBottle(key) for key in "abc"]


def gap_sum(times):
    return sum(((b - a) % 24 or 24) ** 2 for a, b in zip(times, times[1:] + times[:1], strict=True))


def new_times(plan, previous):
    before, new = previous, 0
    for phase in plan.phases:
        new += 0 if before is None else len(set(phase.times) - before)
        before = set(phase.times)
    return new


def gaps(plan, phases):
    """The least gaps that each bottle could have within the rounds."""
    total = 0
    for phase, rounds in zip(phases, plan.phases, strict=True):
        for count in phase.counts.values():
            total += phase.days * min(map(gap_sum, combinations(rounds.times, count)))
    return total


@given(SLOTS, PHASES, PREVIOUS, PRICES)
@settings(deadline=None, max_examples=60)
def test_every_bottle_has_its_count_among_the_rounds_and_no_round_is_idle(slots, phases, previous, price):
    plan = plan_rounds(slots, phases, BOTTLES, previous=previous, price=price)
    for phase, rounds in zip(phases, plan.phases, strict=True):
        assert {key: len(times) for key, times in rounds.bottle_times.items()} == phase.counts
        assert {slot for times in rounds.bottle_times.values() for slot in times} == set(rounds.times)
        assert set(rounds.times) <= set(range(slots))
        assert all(
            list(times) == sorted(set(times)) for times in (rounds.times, *rounds.bottle_times.values())
        )


@given(SLOTS, PHASES, PREVIOUS, PRICES)
@settings(deadline=None, max_examples=60)
def test_unconstrained_bottles_need_as_many_rounds_as_the_most_frequent(slots, phases, previous, price):
    plan = plan_rounds(slots, phases, BOTTLES, previous=previous, price=price)
    assert [len(rounds.times) for rounds in plan.phases] == [max(phase.counts.values()) for phase in phases]
    assert plan.rounds_days == sum(phase.days * max(phase.counts.values()) for phase in phases)


@given(SLOTS, PHASES, PREVIOUS, PRICES)
@settings(deadline=None, max_examples=60)
def test_the_cost_is_the_gaps_and_the_price_of_new_times(slots, phases, previous, price):
    plan = plan_rounds(slots, phases, BOTTLES, previous=previous, price=price)
    assert plan.cost == gaps(plan, phases) + price * new_times(plan, previous)


@given(SLOTS, PHASES, PREVIOUS)
@settings(deadline=None, max_examples=40)
def test_a_dearer_new_time_is_never_used_more_and_never_narrows_the_gaps(slots, phases, previous):
    cheap, dear = (plan_rounds(slots, phases, BOTTLES, previous=previous, price=p) for p in (20, 300))
    assert new_times(dear, previous) <= new_times(cheap, previous)
    assert gaps(dear, phases) >= gaps(cheap, phases)


@given(SLOTS, PHASES, PREVIOUS, st.integers(2, 5))
@settings(deadline=None, max_examples=40)
def test_all_days_and_the_price_multiplied_leave_the_times_alone(slots, phases, previous, factor):
    plain = plan_rounds(slots, phases, BOTTLES, previous=previous, price=100)
    more = [Phase(phase.days * factor, phase.counts) for phase in phases]
    multiplied = plan_rounds(slots, more, BOTTLES, previous=previous, price=100 * factor)
    assert multiplied.phases == plain.phases
    assert multiplied.cost == plain.cost * factor


@given(SLOTS, PHASES, PREVIOUS, st.data())
@settings(deadline=None, max_examples=40)
def test_a_phase_cut_in_two_costs_the_same(slots, phases, previous, data):
    where = data.draw(st.integers(0, len(phases) - 1))
    whole = Phase(phases[where].days + 1, phases[where].counts)
    first = data.draw(st.integers(1, whole.days - 1))
    cut = [Phase(first, whole.counts), Phase(whole.days - first, whole.counts)]
    one = plan_rounds(slots, [*phases[:where], whole, *phases[where + 1 :]], BOTTLES, previous=previous)
    two = plan_rounds(slots, [*phases[:where], *cut, *phases[where + 1 :]], BOTTLES, previous=previous)
    assert (two.cost, two.rounds_days) == (one.cost, one.rounds_days)


@given(SLOTS, PHASES, PREVIOUS, PRICES)
@settings(deadline=None, max_examples=30)
def test_the_order_in_which_bottles_are_named_changes_nothing(slots, phases, previous, price):
    turned = [Phase(phase.days, dict(reversed(phase.counts.items()))) for phase in phases]
    plan = plan_rounds(slots, phases, BOTTLES, previous=previous, price=price)
    assert plan_rounds(slots, turned, BOTTLES[::-1], previous=previous, price=price) == plan


@given(SLOTS, PHASES, st.integers(1, 4))
@settings(deadline=None, max_examples=40)
def test_the_shortest_interval_holds_round_the_clock(slots, phases, shortest):
    phases = [
        Phase(p.days, {key: min(n, slots // shortest) or 1 for key, n in p.counts.items()}) for p in phases
    ]
    plan = plan_rounds(slots, phases, [RoundBottle(key, shortest=shortest) for key in "abc"])
    for rounds in plan.phases:
        for times in rounds.bottle_times.values():
            assert (
                min((b - a) % 24 or 24 for a, b in zip(times, times[1:] + times[:1], strict=True)) >= shortest
            )


@given(SLOTS, PHASES, PREVIOUS)
@settings(deadline=None, max_examples=60)
def test_a_bottle_keeps_its_times_while_its_count_stays_and_its_rounds_are_the_same(slots, phases, previous):
    plan = plan_rounds(slots, phases, BOTTLES, previous=previous)
    for key in "abc":
        stays = [rounds for rounds in plan.phases if key in rounds.bottle_times]
        for before, after in pairwise(stays):
            same = len(before.bottle_times[key]) == len(after.bottle_times[key])
            if same and before.times == after.times:
                assert before.bottle_times[key] == after.bottle_times[key]


@given(SLOTS, PHASES)
@settings(deadline=None, max_examples=60)
def test_own_times_are_never_dearer_than_those_that_look_at_one_phase_alone(slots, phases):
    plan = plan_rounds(slots, phases, BOTTLES, price=100)
    alone = 0
    for key in "abc":
        before = None
        for phase, rounds in zip(phases, plan.phases, strict=True):
            if key in phase.counts:
                times = min(combinations(rounds.times, phase.counts[key]), key=lambda t: (gap_sum(t), t))
                alone += phase.days * gap_sum(times)
                alone += 0 if before is None else 100 * len(set(times) - before)
                before = set(times)
    assert plan.own_cost <= alone
