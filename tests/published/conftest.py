"""Plans and looks from the smallest record that says what a published line is about."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from made import DAY0, Made, plan_of, record_of

from followup.clinical.protocol.load import load_protocol
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record, parse_findings
from followup.clinical.review.proposal import Outcome
from followup.clinical.review.review import review


@pytest.fixture(scope="session")
def sample() -> Protocol:
    return load_protocol()


@pytest.fixture(scope="session")
def made(sample: Protocol) -> Callable[..., Made]:
    def of(told: dict[str, Any], day: int = 0) -> Made:
        return plan_of(told, sample, day)

    return of


@pytest.fixture(scope="session")
def looked(sample: Protocol) -> Callable[..., Outcome]:
    """``looked(7, {...}, cells="2+")``: what a look at the eye on that day leads to.

    A look at the cells is one without signs of infection or lens material, unless it says so: they are
    asked before any proposal for the steroid.
    """

    def at(day: int, told: dict[str, Any] | None = None, **found: Any) -> Outcome:
        signs = ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin")
        calm = dict.fromkeys((*signs, "lens_material"), "no") if "cells" in found else {}
        seen = (
            calm
            | {
                "eye": "right",
                "date": (DAY0 + timedelta(days=day)).isoformat(),
            }
            | found
        )
        return review(record_of(told or {}), sample, parse_findings(seen))

    return at


@pytest.fixture(scope="session")
def written() -> Callable[[dict[str, Any]], Record]:
    return record_of
