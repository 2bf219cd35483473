from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest

from followup.clinical.careplan import Course, Step, Trip

OPERATION = date(2024, 2, 1)


@pytest.fixture(scope="session")
def day() -> Callable[[int], date]:
    """The date of a day after surgery; day 0 is the operation."""
    return lambda number: OPERATION + timedelta(days=number)


@pytest.fixture(scope="session")
def course(day) -> Callable[..., Course]:
    """A course of (count a day, days) steps from a day after surgery on."""

    def make(*steps: tuple[int, int], first: int = 1, **fields) -> Course:
        laid, start = [], first
        for count, days in steps:
            laid.append(Step(start=day(start), days=days, count=count))
            start += days
        given = {"key": "right:steroid", "role": "steroid", "medicine": "dexamethasone", "eye": "right"}
        return Course(**(given | fields), steps=tuple(laid))

    return make


@pytest.fixture(scope="session")
def trip(day) -> Callable[..., Trip]:
    """A trip on a day after surgery, with the last day of its window."""

    def make(number: int, on: int, until: int, **fields) -> Trip:
        return Trip(
            number=number,
            date=day(on),
            serves=("right:wound",),
            services=("eye clinic",),
            window_start=day(on),
            window_end=day(until),
            tier="C",
            **fields,
        )

    return make
