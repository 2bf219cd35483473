"""Care plans written by hand: the drawings are tested apart from the rules that make plans."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from routine_plans import routine_plan

from followup.clinical.careplan import CarePlan


@pytest.fixture
def make_plan() -> Callable[..., CarePlan]:
    return routine_plan


@pytest.fixture
def plan() -> CarePlan:
    return routine_plan()
