"""How often an event changed and when it did last, read from the journal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from followup.clinical.careplan import CarePlan
from followup.exchange.agenda.same_visit import VisitThroughPlans
from followup.recall.messages.compose import changes_on
from followup.records.desk.taking_back import TAKEN_BACK
from followup.records.plans.bound import SIGNED
from followup.records.store.journal import JournalEntry

CHANGES = ("visit booked", "visit moved")
READ = (*CHANGES, SIGNED, TAKEN_BACK)
"""The entries that a revision is read from."""


@dataclass(frozen=True)
class Revision:
    """``sequence`` counts the changes of an event from 0; ``at`` is the moment of the last one."""

    sequence: int
    at: datetime


def revision_of(visit: VisitThroughPlans, entries: Sequence[JournalEntry]) -> Revision:
    """Each move, hour and step taken back is a change, each new plan that has the visit, and its end."""
    own = {e.number for e in entries if e.action in CHANGES and e.details.get("trip") in visit.ids}
    back = [e for e in entries if e.action == TAKEN_BACK and e.details.get("entry") in own]
    changes = [e for e in entries if e.number in own] + back
    plans = {link.plan_id for link in visit.links}
    signed = [e.at for e in entries if e.action == SIGNED and e.details.get("id") in plans]
    ended = [visit.now.ended_at] if visit.now.status == "cancelled" and visit.now.ended_at else []
    moments = [*(e.at for e in changes), *signed, *ended]
    # Nothing of it in the journal: the beginning of its day, so that the same file comes out each time.
    last = max(moments, default=datetime.fromisoformat(f"{visit.now.window_start}T00:00:00+00:00"))
    ends = visit.now.status == "cancelled"
    return Revision(len(changes) + len(visit.links) - 1 + ends, last)


@dataclass(frozen=True)
class ToldPlan:
    """A signed plan: when it came into force, when its sheet was in the patient's hands, when it ended."""

    plan: CarePlan
    signed_at: datetime
    handed_at: datetime | None
    ended_at: datetime | None


@dataclass(frozen=True)
class ChangeOfDrops:
    """A day on which drops change; ``stands``: it still does."""

    day: date
    stands: bool
    revision: Revision


def changes_of_drops(plans: Sequence[ToldPlan]) -> tuple[ChangeOfDrops, ...]:
    """The days on which the patient was told that drops change, by day; ``plans`` are oldest first.

    As with messages nothing is said before the sheet is in the patient's hands, and a plan that ends takes
    back what it said. Each time a day is said or taken back is a change.
    """
    turns: list[tuple[datetime, frozenset[date]]] = []
    for told in plans:
        turns.append((told.signed_at, frozenset()))
        if told.handed_at is not None and (told.ended_at is None or told.handed_at <= told.ended_at):
            turns.append((told.handed_at, _days(told.plan)))
        if told.ended_at is not None:
            turns.append((told.ended_at, frozenset()))
    flips: dict[date, list[datetime]] = {}
    standing: frozenset[date] = frozenset()
    for at, days in turns:
        for day in days ^ standing:
            flips.setdefault(day, []).append(at)
        standing = days
    return tuple(_change(day, moments) for day, moments in sorted(flips.items()))


def _change(day: date, moments: Sequence[datetime]) -> ChangeOfDrops:
    return ChangeOfDrops(day, len(moments) % 2 == 1, Revision(len(moments) - 1, moments[-1]))


def _days(plan: CarePlan) -> frozenset[date]:
    ends = (date.fromordinal(step.end.toordinal() + 1) for course in plan.courses for step in course.steps)
    starts = (step.start for course in plan.courses for step in course.steps)
    return frozenset(
        day for day in {*starts, *ends} if any(changes_on(course, day) for course in plan.courses)
    )
