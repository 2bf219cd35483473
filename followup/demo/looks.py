"""What is seen at the sample clinic's visits, and what its surgeon signs because of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from random import Random
from typing import Any

from followup.care.danger import look_stored
from followup.care.hand import Hand
from followup.care.looks.looks import reason_of
from followup.care.plans.adjusting import joined
from followup.care.plans.planning import draft_plan, newest_edits, with_visits
from followup.clinical.record import Eye, Findings, parse_record
from followup.clinical.review.review import accept, review, with_findings
from followup.demo.clinic import SURGEON
from followup.records.people.patients import correct_record, newest_record
from followup.records.store.store import Unit
from followup.records.trips.places import planning_calendar
from followup.records.trips.trips import trips_of


@dataclass(frozen=True)
class ToldLook:
    """A told look: ``found`` at the first visit on ``day`` after the operation or later.

    ``takes`` are the proposals that the surgeon signs, ``offer`` the pressure medicine and its days
    among those offered. ``unasked``: why the patient comes that day although no visit is planned.
    """

    day: int
    found: Mapping[str, Any] = field(default_factory=dict)
    takes: tuple[str, ...] = ()
    offer: tuple[str, int] | None = None
    reason: str = ""
    unasked: str = ""
    handed_over: bool = True


def told_look(looks: Iterable[ToldLook], day: int, visited: Sequence[int]) -> ToldLook | None:
    """The told look for a visit on ``day``, unless an earlier visit has used it; days after surgery."""
    told = max((look for look in looks if look.day <= day), key=lambda look: look.day, default=None)
    if told is None or any(told.day <= before < day for before in visited):
        return None
    return told


def quiet(rng: Random, day: int) -> dict[str, Any]:
    """What is seen of an eye that heals as it should, ``day`` days after surgery."""
    return {
        "drops_taken": "as told",
        "vision": rng.choice(("6/12", "6/9") if day < 5 else ("6/9", "6/6")),
        "vision_falling": "no",
        "pain": "no",
        "redness_growing": "no",
        "lid_swelling": "no",
        "fibrin": "no",
        "cells": rng.choice(("0.5+", "1+")) if day < 3 else "0",
        "flare": "0",
        "hypopyon": "no",
        "pressure": rng.randint(12, 17),
        "chamber": "deep",
        "leak": "none",
        "cornea": "clear",
    }


def enter_look(unit: Unit, patient: int, eye: Eye, hand: Hand, found: Mapping[str, Any]) -> None:
    """Store what was seen of ``eye`` as the next version of the record, as the eye's page does."""
    known = newest_record(unit.session, patient)
    data = known.record.model_dump(mode="json", exclude_none=True)
    look = {"eye": eye, "date": hand.today.isoformat(), "by": SURGEON.name, **found}
    record = parse_record(data | {"reviews": [*data.get("reviews", []), look]}, known.record.patient.code)
    correct_record(unit, patient_id=patient, record=record, seen=known.number)
    look_stored(unit, hand, patient, record, _todays(record.reviews, eye, hand))


def draft_taken(unit: Unit, patient: int, eye: Eye, hand: Hand, seen: ToldLook) -> bool:
    """Draft the plan with the proposals that the surgeon takes; false where today's look has none of them."""
    record = newest_record(unit.session, patient).record
    look = _todays(record.reviews, eye, hand)
    edits = newest_edits(unit.session, patient)
    outcome = review(
        with_findings(with_visits(record, trips_of(unit.session, patient), hand.today), look),
        hand.protocol,
        look,
        calendar=planning_calendar(unit.session, patient),
        edits=edits,
    )
    taken = [proposal for proposal in outcome.proposals if proposal.id in seen.takes]
    if not taken:
        return False
    offered = {offer.medicine for proposal in taken for offer in proposal.offers}
    offer = seen.offer if seen.offer and seen.offer[0] in offered else None
    new = accept(taken, by=SURGEON.name, reason=seen.reason, offer=offer)
    reason = reason_of(taken, seen.reason)
    draft_plan(unit, hand, patient, edits=joined(edits, new), reason=reason)
    return True


def _todays(looks: Iterable[Findings], eye: Eye, hand: Hand) -> Findings:
    (look,) = (look for look in looks if (look.eye, look.date) == (eye, hand.today))
    return look
