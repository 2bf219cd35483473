"""Who comes on the agreed day: what is learned from a past that was drawn, and how well it foretells days."""

from __future__ import annotations

import random
from datetime import date, timedelta

import pytest

from followup.recall.jobs.attendance import arrivals, attendance_rules, learned
from followup.records.figures.attended import PastVisit

MONDAY = date(2027, 3, 1)
# How likely a visit of each risk comes on its day; whoever does not comes late by these days, or never.
TRUE = {"A": 0.9, "B": 0.75, "C": 0.6}
LATER = (1, 2, 7, None)


def _came(chance: random.Random, tier: str, day: date) -> date | None:
    if chance.random() < TRUE[tier]:
        return day
    later = chance.choice(LATER)
    return None if later is None else day + timedelta(days=later)


def _past(chance: random.Random, count: int) -> list[PastVisit]:
    visits = []
    for number in range(count):
        tier, day = chance.choice("ABC"), MONDAY - timedelta(days=10 + number % 150)
        visits.append(PastVisit(tier, day, day + timedelta(days=2), _came(chance, tier, day)))
    return visits


def test_what_is_learned_of_a_long_past_is_what_it_was_drawn_from():
    found = learned(_past(random.Random(1), 20_000), attendance_rules())
    for tier, share in TRUE.items():
        assert found.share(tier) == pytest.approx(share, abs=0.015)
        chances = found.chances(tier)
        assert sum(chances.values()) == pytest.approx(1 - (1 - share) / 4, abs=0.015)
        assert chances[7] == pytest.approx((1 - share) / 4, abs=0.015)
    low, high = found.interval
    assert low < 75 < high
    assert high - low < 2
    assert found.came + found.in_window + found.late + found.never == found.all == 20_000


def test_a_kind_with_little_past_is_drawn_towards_all_visits():
    day = MONDAY - timedelta(days=30)
    seen = [PastVisit("C", day, day, day)] * 60 + [PastVisit("C", day, day, None)] * 40
    found = learned([*seen, *[PastVisit("A", day, day, None)] * 5], attendance_rules())
    overall = 60 / 105
    # Beta-binomial: 0 of 5 of its own and 20 visits more that came as all did.
    assert found.share("A") == pytest.approx(20 * overall / 25)
    assert found.share("B") == found.share(None) == pytest.approx(overall)


def test_of_a_short_past_nothing_is_learned():
    rules, day = attendance_rules(), MONDAY - timedelta(days=30)
    one = PastVisit("C", day, day, day)
    assert not learned([one] * (rules.least - 1), rules).enough
    assert learned([one] * rules.least, rules).enough


def test_the_range_of_eighty_holds_eighty_of_a_hundred_drawn_days():
    """Learned from one past, told of another time: the middle of forty days, so that nobody falls out."""
    chance = random.Random(7)
    found = learned(_past(chance, 4_000), attendance_rules())
    held, drawn, mean, counted = 0, 0, 0.0, 0
    for _ in range(30):
        booked = [
            (MONDAY + timedelta(days=number), chance.choice("ABC"))
            for number in range(40)
            for _ in range(chance.randint(4, 25))
        ]
        likely = arrivals(booked, found, MONDAY, 40)
        came = [_came(chance, tier, day) for day, tier in booked]
        for number in range(10, 30):
            count = came.count(MONDAY + timedelta(days=number))
            drawn += 1
            held += likely[number].low <= count <= likely[number].high
            mean, counted = mean + likely[number].mean, counted + count
    # Whole people make a range hold a little more than it must.
    assert 0.78 <= held / drawn <= 0.92
    assert mean == pytest.approx(counted, rel=0.03)


def test_the_range_is_that_of_the_binomial_distribution():
    # Twenty visits that come with a half: P(X <= 6) = 0.058, P(X <= 7) = 0.132, P(X <= 13) = 0.942 and
    # P(X <= 12) = 0.868 (tables of the binomial distribution, n = 20, p = 0.5, from memory).
    day = MONDAY - timedelta(days=30)
    past = [PastVisit("C", day, day, day), PastVisit("C", day, day, None)] * 500
    (found,) = arrivals([(MONDAY, "C")] * 20, learned(past, attendance_rules()), MONDAY, 1)
    assert (found.mean, found.low, found.high) == (10, 7, 13)
