"""The sample data, and records that say no more than the test needs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from followup.clinical.plan.contraindications import CautionFinding, check_medicine
from followup.clinical.protocol.cautions import CautionSet
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Record, parse_record

FORMULARY = load_protocol().formulary
CAUTIONS = load_protocol().cautions

Check = Callable[..., dict[str, CautionFinding]]


@pytest.fixture(scope="session")
def formulary() -> dict[str, Medicine]:
    return FORMULARY


@pytest.fixture(scope="session")
def cautions() -> CautionSet:
    return CAUTIONS


def record_of(
    *,
    conditions: dict[str, Any] | None = None,
    allergies: list[dict[str, Any]] | None = None,
    eye: dict[str, Any] | None = None,
    other_eye: dict[str, Any] | None = None,
    operation: dict[str, Any] | None = None,
    reviews: list[dict[str, Any]] | None = None,
    **patient: Any,
) -> Record:
    """A man of 70, right eye operated on 3 March 2025, with only what is given added."""
    return parse_record(
        {
            "patient": {
                "code": "T-1",
                "name": "Invented Person",
                "birth_date": "1955-01-01",
                "sex": "male",
                "conditions": conditions or {},
                "allergies": allergies or [],
                "eyes": {"right": eye or {}, "left": other_eye or {}},
                **patient,
            },
            "operations": [
                {
                    "eye": "right",
                    "eye_drawn": "right",
                    "date": "2025-03-03",
                    "procedure": "phacoemulsification",
                    **(operation or {}),
                }
            ],
            "reviews": [{"eye": "right", "date": "2025-03-10", **review} for review in reviews or []],
        }
    )


@pytest.fixture
def check() -> Check:
    """``check("timolol-0-5", conditions={...})``: the findings by id, for the right eye."""

    def _check(
        medicine: str, *, new: bool = True, days: int = 14, max_count: int = 2, **parts: Any
    ) -> dict[str, CautionFinding]:
        options = {k: parts.pop(k) for k in ("counts", "as_of") if k in parts}
        product = FORMULARY[medicine]
        findings = check_medicine(
            record_of(**parts),
            product,
            None if product.route == "mouth" else "right",
            new=new,
            days=days,
            max_count=max_count,
            cautions=CAUTIONS,
            **options,
        )
        return {finding.id: finding for finding in findings}

    return _check
