"""Every medicine of the formulary as its row tells it, through what the program makes of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from look_cases import sample
from specification import cases_of

from followup.clinical.plan.labels import above_label
from followup.clinical.protocol.formulary import Medicine

Figure = Callable[[Medicine, dict[str, Any]], Any]


def _above(medicine: Medicine, case: dict[str, Any]) -> int:
    found = above_label(medicine, [tuple(step) for step in case["course"]], case["country"])
    return found.day if found else 0


FIGURES: dict[str, Figure] = {
    "called": lambda medicine, _: medicine.label,
    "drops": lambda medicine, _: medicine.drops_per_bottle,
    "open_days": lambda medicine, _: medicine.open_days,
    "wait": lambda medicine, _: medicine.wait_minutes,
    "wasted": lambda medicine, _: medicine.wastage,
    "order": lambda medicine, _: medicine.order,
    "depot": lambda medicine, _: medicine.is_depot,
    "above_label_on": _above,
    "label_days": lambda medicine, case: medicine.longest_label_days(
        diabetes=case["diabetes"], country=case["country"]
    ),
}
TOLD = {"medicine", "country", "course", "diabetes"}


@pytest.mark.parametrize(
    "case", cases_of("formulary-steroids", "formulary-nsaids-antibiotics", "formulary-pressure")
)
def test_a_medicine_has_the_figures_of_its_row(case):
    medicine, figures = sample().formulary[case["medicine"]], set(case) - TOLD
    assert figures
    for figure in figures:
        found = FIGURES[figure](medicine, case)
        assert found == case[figure], f"{medicine.label}, {figure.replace('_', ' ')}: {found}"
