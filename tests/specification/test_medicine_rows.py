"""What speaks against a medicine, and what two at once lead to, row by row of the specification."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from look_cases import CONDITIONS, DAY0, record_of, sample
from specification import cases_of

from followup.clinical.careplan import Course, Step
from followup.clinical.plan.contraindications import CautionFinding, check_duplicates, check_medicine

CASES = cases_of("cautions")
HEALTHY = CONDITIONS["healthy"] | {"nasal_polyps": False, "pregnancy": "no"}


def _record(case: dict[str, Any]) -> Any:
    conditions = HEALTHY | case.get("conditions", {})
    told = dict(case, nothing_else=True)
    told["conditions"] = {k: v for k, v in conditions.items() if k not in case.get("unknown", ())}
    told["patient"] = case.get("patient", {}) | {"allergies": case.get("allergies", [])}
    return record_of(told)


def _said(case: dict[str, Any], medicine: str, *, new: bool) -> tuple[CautionFinding, ...]:
    product = sample().formulary[medicine]
    days, counts = case.get("days", 7), case.get("counts")
    return check_medicine(
        _record(case),
        product,
        None if product.route == "mouth" else "right",
        new=new,
        days=sum(d for _, d in counts) if counts else days,
        max_count=max(c for c, _ in counts) if counts else 2,
        counts=[tuple(pair) for pair in counts] if counts else None,
        cautions=sample().cautions,
        as_of=DAY0 + timedelta(days=30),
    )


def _gravest(found: tuple[CautionFinding, ...]) -> str:
    parts = [found[0].level] if found else []
    parts += ["held"] if any(f.holds for f in found) else []
    parts += ["blocks"] if any(f.blocks for f in found) else []
    return ", ".join(parts)


@pytest.mark.parametrize("case", [c for c in CASES if "medicines" in c.values[0]])
def test_a_medicine_is_stopped_asked_about_or_warned_of_as_its_row_says(case):
    assert case["medicines"]
    for medicine in case["medicines"]:
        for new, where in ((True, "new"), (False, "used")):
            found = _said(case, medicine, new=new)
            told = [(f.id, f.level) for f in found]
            assert _gravest(found) == case[where], f"{medicine}, {where}: {told}"
            if "says" in case:
                assert any(case["says"] in f.text for f in found), f"{medicine}: {[f.text for f in found]}"
    for medicine in case.get("none", ()):
        assert not _said(case, medicine, new=True), f"nothing should be said of {medicine}"


@pytest.mark.parametrize("case", [c for c in CASES if "pair" in c.values[0]])
def test_two_medicines_at_once_are_asked_about_as_their_row_says(case):
    step = (Step(start=DAY0, days=28, count=2),)
    one, two = (
        Course(
            key=f"{place}:{medicine}:{number}",
            role="other",
            medicine=medicine,
            eye=None if place == "mouth" else place,
            steps=step,
        )
        for number, (medicine, place) in enumerate(zip(case["pair"], case["eyes"], strict=True))
    )
    for pair in ((one, two), (two, one)):
        found = check_duplicates(pair, sample().formulary, sample().cautions)
        assert _gravest(found) == case["said"], [(f.id, f.level) for f in found]
        assert len(found) <= 1, [f.id for f in found]
