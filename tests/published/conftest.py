"""Plans and looks from the smallest record that says what a published line is about."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pytest

from followup.clinical.careplan import CarePlan
from followup.clinical.plan import build_plan
from followup.clinical.proposal import Outcome
from followup.clinical.protocol import Protocol, load_protocol
from followup.clinical.record import Record, parse_findings, parse_record
from followup.clinical.review import review

DAY0 = date(2024, 2, 1)
ROUTINE: dict[str, Any] = {
    "patient": {
        "code": "P-1",
        "name": "Invented Person",
        "birth_date": "1950-01-01",
        "sex": "female",
        "language": "en",
        "drops_by": {"who": "relative", "name": "a niece"},
    },
    "operations": [
        {
            "eye": "right",
            "eye_drawn": "right",
            "date": DAY0.isoformat(),
            "pad": True,
            "procedure": "phacoemulsification",
            "cut_mm": 2.4,
            "stitches": 0,
            "watertight": True,
            "chamber": "normal",
            "viscoelastic": {"removed": "all"},
            "antibiotic_in_chamber": True,
        }
    ],
}


def record_of(told: dict[str, Any]) -> Record:
    """A routine record with what a row tells: eye, other_eye, operation, conditions, patient, in_use."""
    data = copy.deepcopy(ROUTINE)
    data["patient"] |= told.get("patient", {})
    if told.get("birth_year_only"):
        del data["patient"]["birth_date"]
    data["patient"]["eyes"] = {"right": told.get("eye", {}), "left": told.get("other_eye", {})}
    data["patient"]["conditions"] = told.get("conditions", {})
    data["operations"][0] |= told.get("operation", {})
    data["in_use"] = told.get("in_use", [])
    data["reviews"] = [
        {"eye": "right", **look, "date": (DAY0 + timedelta(days=look["date"])).isoformat()}
        for look in told.get("reviews", [])
    ]
    return parse_record(data)


@dataclass(frozen=True)
class Made:
    """A plan in the day numbers and short words of clinical tables."""

    plan: CarePlan

    def steps(self, role: str) -> str:
        """ "4x7 3x7" of all courses of a role one after the other; "" where there is none."""
        mine = [c for c in self.plan.courses if c.role == role and not c.from_before and c.state != "stopped"]
        steps = sorted((s for c in mine for s in c.steps), key=lambda s: s.start)
        return " ".join(f"{s.count}x{s.days}" for s in steps)

    def held(self) -> set[str]:
        return {c.role for c in self.plan.courses if c.state == "held"}

    def asks(self) -> set[str]:
        return {q.id for q in self.plan.questions}

    def windows(self) -> dict[str, str]:
        """Every look as "28-35-42"."""
        return {
            n.key.partition(":")[2]: "-".join(str((d - DAY0).days) for d in (n.earliest, n.target, n.latest))
            for n in self.plan.needs
        }


@pytest.fixture(scope="session")
def sample() -> Protocol:
    return load_protocol()


@pytest.fixture(scope="session")
def made(sample: Protocol) -> Callable[..., Made]:
    def of(told: dict[str, Any], day: int = 0) -> Made:
        return Made(build_plan(record_of(told), sample, as_of=DAY0 + timedelta(days=day)))

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
