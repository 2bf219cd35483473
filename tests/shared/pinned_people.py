"""The invented people of the pinned clinic, and what is said of them again and again."""

from __future__ import annotations

import json
import re
from datetime import date, timedelta
from importlib import resources
from typing import Any

PASSWORD = "a long enough password"
# What people type is text and never markup.
ODD = "<b>&\"'"
DAY0 = date(2027, 3, 1)
TOLD = dict.fromkeys(
    ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin"), "no"
)
QUIET = {"kind": "anterior", "last_active": "2026-06-01", "herpetic": False, "infection_excluded": True}
HEALTHY = dict.fromkeys(
    (
        *("asthma", "severe_airway_disease", "slow_heart", "heart_block", "heart_failure", "mao_inhibitor"),
        *("liver_disease", "sickle_cell", "urine_retention", "tuberculosis", "syphilis"),
    ),
    False,
)


def day(number: int) -> str:
    return (DAY0 + timedelta(days=number)).isoformat()


def case(who: str, /, **patient: Any) -> dict[str, Any]:
    """One of the twelve operations of the sample clinic, on the first of March 2027, a Monday."""
    (file,) = [
        one
        for one in (resources.files("followup") / "demo" / "cases").iterdir()
        if one.name.endswith(f"-{who}.json")
    ]
    text = re.sub(r"202[56]-\d\d-\d\d", _later, file.read_text("utf-8"))
    record: dict[str, Any] = json.loads(text)
    record["patient"] |= patient
    return record


def _later(match: re.Match[str]) -> str:
    return (date.fromisoformat(match.group()) + timedelta(days=364)).isoformat()


def routine(code: str, name: str, **operation: Any) -> dict[str, Any]:
    """An uneventful operation, told so far that nothing is asked."""
    record = case("wanjiru", code=code, name=name, language="en")
    record["operations"][0] |= operation
    return record


def eye(record: dict[str, Any], **eye: Any) -> dict[str, Any]:
    """The same in an eye of which more is known, of somebody otherwise healthy."""
    record["patient"] |= {"eyes": {"right": eye}, "conditions": HEALTHY}
    return record
