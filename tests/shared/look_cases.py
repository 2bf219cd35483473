"""One look at an eye as a row of the specification tells it, and what the program says to it."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from typing import Any

from followup.clinical.adjustments import Adjustment, CourseAdded, CourseEdit, NeedAdded
from followup.clinical.careplan import CarePlan
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import load_protocol
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record, parse_findings, parse_record
from followup.clinical.review.proposal import Outcome, Proposal
from followup.clinical.review.review import accept, review, with_findings

DAY0 = date(2024, 2, 1)

_UVEITIS = {"kind": "anterior", "last_active": "2023-06-01", "herpetic": False, "infection_excluded": True}
_WITHOUT = {"medicine": "triamcinolone-injection", "mg": 2, "place": "chamber"}
EYES: dict[str, dict[str, Any]] = {
    "uveitic": {"uveitis": _UVEITIS},
    "uveitic, quiet for 50 days": {"uveitis": _UVEITIS | {"last_active": "2023-12-13"}},
    "never quiet": {"uveitis": {"never_quiet": True, "herpetic": False, "infection_excluded": True}},
    "herpetic uveitis": {"uveitis": _UVEITIS | {"kind": "herpetic", "herpetic": True}},
    "herpetic keratitis": {"herpetic_keratitis": {"year": 2019}},
    "responder": {"steroid_responder": True},
    "uveitic responder": {"uveitis": _UVEITIS, "steroid_responder": True},
    "responder, glaucoma": {"steroid_responder": True, "glaucoma": True},
    "uveitic, glaucoma": {"uveitis": _UVEITIS, "glaucoma": True},
    "glaucoma": {"glaucoma": True},
    "damaged nerve": {"damaged_nerve": True},
    "only seeing eye": {"only_seeing": True},
    "vein occlusion": {"vein_occlusion": True},
}
OPERATIONS: dict[str, dict[str, Any]] = {
    "bleeding": {"bleeding": True},
    "depot, no drops": {
        "steroid": [
            {
                "medicine": "dexamethasone-depot",
                "mg": 0.5,
                "place": "behind the iris",
                "form": "slow-release",
                "purpose": "treat",
                "fate": "left",
            }
        ],
        "choices": {"depot_course": "no drops"},
    },
    "crystals left": {"steroid": [_WITHOUT | {"form": "crystals", "purpose": "treat", "fate": "left"}]},
}
_HEALTHY = (
    *("asthma", "severe_airway_disease", "slow_heart", "heart_block", "heart_failure", "mao_inhibitor"),
    *("kidney_disease", "liver_disease", "sickle_cell", "urine_retention"),
)
CONDITIONS: dict[str, dict[str, Any]] = {"healthy": dict.fromkeys(_HEALTHY, False)}

CALM: dict[str, Any] = {
    "eye_confirmed": True,
    "drops_taken": "as told",
    "technique_seen": "good",
    "vision": "6/9",
    "flare": "0",
    "pressure": 14,
    "cells": "0",
    "leak": "none",
    "cornea": "clear",
    "chamber": "deep",
    "blood": "none",
    "macula": "dry",
    "retina": "flat",
    "epithelial_defect": "no",
    **dict.fromkeys(("lens_material", "loose_stitch", "synechiae"), "no"),
    **dict.fromkeys(
        ("fibrin", "hypopyon", "vision_falling", "pain", "redness_growing", "lid_swelling"), "no"
    ),
}
"""A whole look at an eye with nothing wrong."""


@cache
def sample() -> Protocol:
    return load_protocol()


def _named(said: Any, known: dict[str, dict[str, Any]]) -> dict[str, Any]:
    return known[said] if isinstance(said, str) else (said or {})


def _date(day: int) -> str:
    return (DAY0 + timedelta(days=day)).isoformat()


def record_of(case: dict[str, Any]) -> Record:
    """A woman of 73, routine surgery on her right eye on day 0, with what the case tells changed."""
    patient = {
        "code": "T-1",
        "name": "Invented Person",
        "birth_date": "1950-06-11",
        "sex": "female",
        "language": "en",
        "drops_by": {"who": "relative", "name": "a niece"},
        "conditions": _named(case.get("conditions"), CONDITIONS),
        "eyes": {"right": _named(case.get("eye"), EYES), "left": case.get("other_eye", {})},
    } | case.get("patient", {})
    operation = {
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
        "lens": "bag",
        "antibiotic_in_chamber": True,
    } | _named(case.get("operation"), OPERATIONS)
    for untold in case.get("untold", ()):
        del operation[untold]
    base = {} if case.get("nothing_else") else CALM
    before = [{"eye": "right", **base, **look, "date": _date(look["day"])} for look in case.get("before", [])]
    for look in before:
        del look["day"]
    operations = [operation]
    if "other_eye_operated_on" in case:
        other = {"eye": "left", "eye_drawn": "left", "date": _date(case["other_eye_operated_on"])}
        operations.append(operation | other)
    told = {
        "patient": patient,
        "operations": operations,
        "in_use": case.get("in_use", []),
        "reviews": before,
    }
    return parse_record(copy.deepcopy(told))


@dataclass(frozen=True)
class Looked:
    """What one look led to, in the short words of clinical tables."""

    case: dict[str, Any]
    day: int
    record: Record
    outcome: Outcome
    edits: tuple[Adjustment, ...]

    def ids(self) -> list[str]:
        return [p.id for p in self.outcome.proposals]

    def proposal(self, id_: str) -> Proposal:
        found = [p for p in self.outcome.proposals if p.id == id_]
        assert found, f"{id_} is not proposed, but {self.ids()}"
        return found[0]

    def missing(self) -> set[str]:
        return {q.id.removeprefix("missing-") for q in self.outcome.missing}

    def steps(self, id_: str, course: str | None = None) -> str:
        """ "8x7 6x7" of the first course that the proposal changes, or of the one named."""
        changes = [
            a
            for a in self.proposal(id_).adjustments
            if isinstance(a, CourseEdit | CourseAdded)
            and course in (None, a.course.partition(":")[2] if isinstance(a, CourseEdit) else a.medicine)
        ]
        return " ".join(f"{count}x{days}" for count, days in changes[0].steps) if changes else ""

    def starts(self, id_: str) -> set[int]:
        changes = (a for a in self.proposal(id_).adjustments if isinstance(a, CourseEdit | CourseAdded))
        return {(a.starts - self.outcome.date).days for a in changes}

    def looks(self, id_: str) -> list[list[Any]]:
        today = self.outcome.date
        return [
            [a.need, (a.earliest - today).days, (a.target - today).days, (a.latest - today).days]
            for a in self.proposal(id_).adjustments
            if isinstance(a, NeedAdded)
        ]

    def offers(self, id_: str) -> list[str]:
        return [o.name for o in self.proposal(id_).offers]

    def said(self) -> str:
        """All that people read of it."""
        o = self.outcome
        cautions = (c.text for c in (*o.senior, *o.notes))
        return "\n".join((*cautions, *o.now, *(p.title for p in o.proposals), o.response, o.waits))

    def after(self, *ids: str, offer: tuple[str, int] | None = None) -> CarePlan:
        """The plan once these proposals are signed, with a pressure medicine for so many days."""
        chosen = accept([self.proposal(i) for i in ids], by="Dr Sen", reason="as seen", offer=offer)
        return build_plan(self.record, sample(), as_of=self.outcome.date, edits=(*self.edits, *chosen))

    def course_days(self, id_: str) -> int:
        """From the first to the last day of steroid, once the proposal is signed."""
        course = self.after(id_).course("right:steroid")
        assert course.first_day is not None
        assert course.last_day is not None
        return (course.last_day - course.first_day).days + 1


def _edits(case: dict[str, Any]) -> Iterator[CourseEdit]:
    """The surgeon's earlier change of the steroid: from which day on which steps."""
    for change in case.get("lengthened", []):
        yield CourseEdit(
            course="right:steroid",
            starts=DAY0 + timedelta(days=change["from"]),
            steps=tuple((count, days) for count, days in change["steps"]),
            reason="as the surgeon wishes",
            by="Dr Sen",
        )


def looked_at(case: dict[str, Any], day: int, mmhg: float | None = None) -> Looked:
    """The look of a case on one of its days, with one of its pressures."""
    record, edits = record_of(case), tuple(_edits(case))
    base = {} if case.get("nothing_else") else CALM
    told = {"eye": "right", "date": _date(day), **base, **case.get("found", {})}
    findings = parse_findings(told | ({} if mmhg is None else {"pressure": mmhg}))
    outcome = review(record, sample(), findings, edits=edits)
    return Looked(case, day, with_findings(record, findings), outcome, edits)
