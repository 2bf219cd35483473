"""What the surgeon decided of looks that no offered day can see: it stands in every plan made again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from followup.clinical.careplan import CheckGap, Decided, Impossible, Reason
from followup.clinical.english import day_words
from followup.clinical.plan.needs import Opened
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Eye, Record, VisitDecision
from followup.errors import FollowupError
from followup.said import say

FIXED_VISIT = "trip:"
"""How the trip planner names a visit that can't move and lies on a closed day."""


@dataclass(frozen=True)
class Decisions:
    """The record's decisions, sorted by what they do in this plan.

    ``opened`` are all needs, a decided one with its day as the end of its window. ``windows`` has every
    need as the rules want it. ``days`` are the decisions by need that give it its day; ``stays`` those
    whose day stands as a visit for no need of this plan; ``without_day`` those that sign a gap.
    """

    opened: tuple[Opened, ...]
    windows: Mapping[str, Opened]
    days: Mapping[str, VisitDecision]
    stays: tuple[VisitDecision, ...]
    without_day: tuple[VisitDecision, ...]
    notices: tuple[str, ...]

    def narrowed(self, entry: Opened) -> Opened:
        """A decided need on its one day; it hangs on no other any more."""
        decision = self.days.get(entry.need.key)
        if decision is None or decision.day is None:
            return entry
        day = {"earliest": decision.day, "target": decision.day, "latest": decision.day, "urgent": True}
        return Opened(entry.need.model_copy(update=day | {"after": None}), None)


def read_decisions(record: Record, opened: Sequence[Opened]) -> Decisions:
    """Sort the record's decisions over the needs of this plan. Error: ``record.decisions``."""
    windows = {entry.need.key: entry for entry in opened}
    days: dict[str, VisitDecision] = {}
    stays: list[VisitDecision] = []
    notices: list[str] = []
    for number, decision in enumerate(record.decisions):
        entry = windows.get(decision.need)
        if decision.day is None:
            continue
        if decision.need in days:
            raise FollowupError(
                "record.decisions",
                say("{need} is decided for two days", need=decision.need),
                where=say("record: decisions.{number}", number=number),
                fix=say("keep the one that holds"),
            )
        if entry is not None and _still_so(decision, entry):
            days[decision.need] = decision
            continue
        stays.append(decision)
        if entry is not None:
            notices.append(
                say(
                    "The look decided for {day} has another window now: the visit stays, and the look "
                    "is planned anew.",
                    day=day_words(decision.day),
                )
            )
    return Decisions(
        tuple(_widened(entry, days.get(entry.need.key)) for entry in opened),
        windows,
        days,
        tuple(stays),
        tuple(decision for decision in record.decisions if decision.day is None),
        tuple(notices),
    )


def check_promises(record: Record, protocol: Protocol, as_of: date) -> None:
    """Refuse a booked or decided day that is further ahead than the protocol lets anybody promise."""
    limit = max(as_of, record.last_operation_day) + timedelta(days=protocol.promises.days)
    told = [(f"trips.{i}.date", t.date) for i, t in enumerate(record.trips) if t.status == "booked"]
    told += [(f"decisions.{i}.day", d.day) for i, d in enumerate(record.decisions) if d.day is not None]
    for field, day in told:
        if day > limit:
            raise FollowupError(
                "record.promise",
                say(
                    "{day} is further ahead than any visit may be promised ({limit} at the latest)",
                    day=day,
                    limit=limit,
                ),
                where=say("record: {field}", field=field),
                fix=say("correct the year"),
            )


def _still_so(decision: VisitDecision, entry: Opened) -> bool:
    """Whether the need has the window that was decided on; one that names none is taken at its word."""
    told = (decision.earliest, decision.latest)
    return None in told or told == (entry.need.earliest, entry.need.latest)


def _widened(entry: Opened, decision: VisitDecision | None) -> Opened:
    """For looking back: a decided look counts from its own window's first day on, and is due on its day."""
    if decision is None or decision.day is None:
        return entry
    need = entry.need
    reason = _reason(decision)
    window = {
        "earliest": min(need.earliest, decision.day),
        "target": decision.day,
        "latest": decision.day,
        "reasons": (*need.reasons, reason),
    }
    return Opened(need.model_copy(update=window | {"after": None}), None)


def _reason(decision: VisitDecision) -> Reason:
    by = say("decided by {by}", by=decision.by) if decision.by else say("decided by the surgeon")
    return Reason(rule="surgeon", because=decision.why, source=by, mark="C")


@dataclass(frozen=True)
class SettledLooks:
    """What is left impossible, and what is signed with the plan."""

    impossible: tuple[Impossible, ...]
    decided: tuple[Decided, ...]


def settle(
    found: Iterable[Impossible],
    decisions: Decisions,
    gaps: Sequence[CheckGap],
    over: frozenset[str],
    start: date,
) -> SettledLooks:
    """Set the decisions against what the plan could not keep.

    ``over``: needs that are served or reopened, ``start``: the first day to come.
    """
    open_, decided = [], []
    for key, decision in decisions.days.items():
        if key not in over and decision.day is not None and decision.day >= start:
            need = decisions.windows[key].need
            decided.append(_decided(decision, need.kind, need.earliest, need.latest))
    words = {gap.key: gap for gap in gaps}
    used: list[VisitDecision] = []
    for item in found:
        answer = _answer(item, decisions)
        if answer is None:
            open_.append(item)
            continue
        used.append(answer)
        kind = words[item.need].look if item.need in words else item.kind
        decided.append(_decided(answer, kind, item.earliest, item.latest, item))
    for decision in decisions.stays:
        if decision not in used and decision.day is not None and decision.day >= start:
            decided.append(_decided(decision, words[decision.need].look if decision.need in words else ""))
    decided.sort(key=lambda one: (one.day or date.max, one.need))
    return SettledLooks(tuple(open_), tuple(decided))


def _answer(item: Impossible, decisions: Decisions) -> VisitDecision | None:
    """The decision on what can't be kept: the day of the next check, or no day where none is offered."""
    if item.before is None and item.after is None:
        return next((d for d in decisions.without_day if d.need == item.need), None)
    return next((d for d in decisions.stays if d.need == item.need and d.day == item.after), None)


def _decided(
    decision: VisitDecision,
    kind: str,
    earliest: date | None = None,
    latest: date | None = None,
    item: Impossible | None = None,
) -> Decided:
    named: dict[str, Eye] = {"right": "right", "left": "left"}
    eye = item.eye if item else named.get(decision.need.partition(":")[0])
    return Decided(
        need=decision.need,
        kind=kind,
        eye=eye,
        day=decision.day,
        earliest=earliest,
        latest=latest,
        place=decision.place,
        why=decision.why,
        by=decision.by,
    )
