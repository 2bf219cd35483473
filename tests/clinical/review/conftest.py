"""One look told in a line, and what comes out of it."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pytest

from followup.clinical.adjustments import Adjustment, CourseAdded, CourseEdit, NeedAdded
from followup.clinical.careplan import CarePlan
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record, parse_findings, parse_record
from followup.clinical.review.proposal import Outcome, Proposal
from followup.clinical.review.review import accept, review, with_findings

SEEN = {
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
    "lens_material": "no",
    "loose_stitch": "no",
    "epithelial_defect": "no",
    "synechiae": "no",
    "macula": "dry",
    "retina": "flat",
    **dict.fromkeys(
        ["fibrin", "hypopyon", "vision_falling", "pain", "redness_growing", "lid_swelling"], "no"
    ),
}
"""A whole look at a quiet eye; a test names only what it is about."""


@dataclass(frozen=True)
class Seen:
    """What one look led to, and the way to the plan that a signature would make of it."""

    outcome: Outcome
    record: Record
    protocol: Protocol
    edits: tuple[Adjustment, ...]
    day0: date

    def ids(self) -> list[str]:
        return [p.id for p in self.outcome.proposals]

    def seniors(self) -> list[str]:
        return [c.id for c in self.outcome.senior]

    def notes(self) -> list[str]:
        return [c.id for c in self.outcome.notes]

    def missing(self) -> set[str]:
        return {q.id.removeprefix("missing-") for q in self.outcome.missing}

    def proposal(self, id_: str) -> Proposal:
        return next(p for p in self.outcome.proposals if p.id == id_)

    def steps(self, id_: str, course: str | None = None) -> str:
        """The steps of a proposal's change to a course: "8x7 6x7"; "" ends it."""
        found = [
            a
            for a in self.proposal(id_).adjustments
            if isinstance(a, CourseEdit | CourseAdded)
            and course in (None, a.course if isinstance(a, CourseEdit) else a.medicine)
        ]
        return " ".join(f"{c}x{d}" for c, d in found[0].steps)

    def looks(self, id_: str) -> list[tuple[str, int, int, int]]:
        """The looks that a proposal adds, in days from this look."""
        today = self.outcome.date
        return [
            (a.need, (a.earliest - today).days, (a.target - today).days, (a.latest - today).days)
            for a in self.proposal(id_).adjustments
            if isinstance(a, NeedAdded)
        ]

    def offered(self, id_: str) -> list[str]:
        return [o.kind for o in self.proposal(id_).offers]

    def after(self, *ids: str, as_of: int | None = None, offer: tuple[str, int] | None = None) -> CarePlan:
        """The plan once these proposals are signed; none: as if nothing had been."""
        chosen = accept([self.proposal(i) for i in ids], by="Dr Sen", reason="as seen", offer=offer)
        day = self.outcome.date if as_of is None else self.day0 + timedelta(days=as_of)
        return build_plan(self.record, self.protocol, as_of=day, edits=(*self.edits, *chosen))


@pytest.fixture(scope="session")
def look(protocol: Protocol, someone: Callable[..., dict[str, Any]]) -> Callable[..., Seen]:
    """``look(7, cells="2+")``: a routine eye on day 7, or that of ``data``, with looks ``before``."""

    def one(
        day: int,
        data: dict[str, Any] | None = None,
        *,
        before: dict[int, dict[str, Any]] | None = None,
        edits: tuple[Adjustment, ...] = (),
        whole: bool = True,
        **found: Any,
    ) -> Seen:
        told = copy.deepcopy(data or someone())
        operation = told["operations"][-1]
        day0, eye = date.fromisoformat(operation["date"]), operation["eye"]
        base = SEEN if whole else {}
        for number, earlier in (before or {}).items():
            when = (day0 + timedelta(days=number)).isoformat()
            told.setdefault("reviews", []).append({"eye": eye, "date": when, **base, **earlier})
        record = parse_record(told)
        when = (day0 + timedelta(days=day)).isoformat()
        findings = parse_findings({"eye": eye, "date": when, **base, **found})
        outcome = review(record, protocol, findings, edits=edits)
        return Seen(outcome, with_findings(record, findings), protocol, edits, day0)

    return one
