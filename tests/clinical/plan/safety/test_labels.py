"""A course is held against the label of its product, day by day."""

from __future__ import annotations

import pytest
from medicines import USUAL

from followup.clinical.plan.labels import above_label
from followup.clinical.protocol.formulary import Medicine


def product(*labels: dict) -> Medicine:
    return Medicine.model_validate(
        {
            "id": "x-1",
            "name": "X",
            "strength": "1%",
            "form": "solution",
            "role": "other",
            "kinds": ["lubricant"],
            "substances": ["x-1"],
            "volume_ml": 5,
            **USUAL,
            "source": "invented",
            "mark": "M",
            "labels": [{"source": "invented", "mark": "M", **label} for label in labels],
        }
    )


HOURLY_THEN_EIGHT = product(
    {"country": "UK", "drops_a_day": 32, "days": 2}, {"country": "UK", "drops_a_day": 8, "from_day": 3}
)


@pytest.mark.parametrize(
    ("steps", "day", "allowed"),
    [
        ([(16, 3)], 3, 8),
        ([(16, 2), (8, 5), (9, 1)], 8, 8),
        ([(33, 1)], 1, 32),
    ],
)
def test_the_first_day_above_the_label_is_named(steps, day, allowed):
    found = above_label(HOURLY_THEN_EIGHT, steps)
    assert found is not None
    assert (found.day, found.allowed, found.country) == (day, allowed, "UK")
    assert found.count == [c for c, days in steps for _ in range(days)][day - 1]


@pytest.mark.parametrize("steps", [[(16, 2), (8, 70)], [(4, 7), (3, 7)], []])
def test_a_course_at_or_under_the_label_passes(steps):
    assert above_label(HOURLY_THEN_EIGHT, steps) is None


def test_a_course_that_outlasts_a_label_with_an_end_is_above_it():
    fortnight = product({"country": "US", "drops_a_day": 4, "days": 14})
    assert above_label(fortnight, [(4, 14)]) is None
    found = above_label(fortnight, [(4, 14), (1, 1)])
    assert found is not None
    assert (found.day, found.allowed) == (15, 0)


def test_only_the_label_of_the_country_is_asked():
    two = product({"country": "US", "drops_a_day": 2}, {"country": "UK", "drops_a_day": 6})
    assert above_label(two, [(4, 7)], "UK") is None
    assert above_label(two, [(4, 7)], "US") is not None
    assert above_label(product({"country": "US", "drops_a_day": 6}), [(4, 7)], "US") is None


def test_without_a_figure_of_the_country_the_strictest_known_is_asked():
    two = product({"country": "US", "drops_a_day": 2}, {"country": "UK", "drops_a_day": 6})
    found = above_label(two, [(4, 7)], "EU")
    assert found is not None
    assert (found.country, found.allowed) == ("US", 2)
    assert above_label(two, [(2, 7)], "EU") is None
    assert above_label(product(), [(16, 90)], "EU") is None


def test_without_a_country_the_label_that_is_passed_first_is_named():
    two = product(
        {"country": "UK", "drops_a_day": 4, "days": 9}, {"country": "US", "drops_a_day": 4, "days": 5}
    )
    found = above_label(two, [(4, 12)])
    assert found is not None
    assert (found.country, found.day) == ("US", 6)
