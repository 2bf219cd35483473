"""To reach today: whom reception must reach now, in order; one line a patient, every reason on it.

Whoever was here and left without findings was not looked at, as far as anyone knows. A patient who missed
a visit but was here since is not overdue: what was missed must be planned
again, and stays on the list until a plan is signed that does so. A visit to come on a day that has
become closed must be moved before the patient travels for nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime
from typing import get_args
from zoneinfo import ZoneInfo

from followup.clinical.careplan import Tier
from followup.clinical.protocol.recall import RecallRules
from followup.clinical.words.gist import ListedNeed, PlanGist
from followup.recall.reach.ladder import next_for
from followup.recall.reach.lateness import VisitDays, days_overdue, lateness
from followup.recall.reach.line import ReachKind, ToReach
from followup.recall.reach.open_cases import Open, load_closed, load_open
from followup.recall.reach.reasons import reason
from followup.records.house.clinics import clinic_zone
from followup.records.plans.listed import ListedPlan
from followup.records.store.store import Session
from followup.records.views import PatientView, TripView

__all__ = [
    "Open",
    "ReachKind",
    "ToReach",
    "line_of",
    "load_open",
    "reason",
    "to_move",
    "to_reach",
    "worklist",
]

_ORDER: tuple[ReachKind, ...] = get_args(ReachKind)
_TIERS: tuple[Tier, ...] = ("A", "B", "C")


def worklist(session: Session, now: datetime, rules: RecallRules | None = None) -> tuple[ToReach, ...]:
    """Whom to reach at ``now``; with the clinic's ``rules`` also what to try next.

    Those whose next attempt is due on a later day come after the others, and say so.
    """
    return to_reach(load_open(session, now), now, clinic_zone(session), rules)


def line_of(session: Session, now: datetime, rules: RecallRules | None, patient: int) -> ToReach | None:
    """The line of one patient on that list; None where nobody need reach the patient now."""
    found = to_reach(load_open(session, now, patient), now, clinic_zone(session), rules)
    return found[0] if found else None


def to_move(session: Session, now: datetime) -> tuple[ToReach, ...]:
    """Whose visits lie on a day that does not offer what they are for, a line a patient."""
    return to_reach(load_closed(session, now), now, clinic_zone(session))


def to_reach(
    facts: Open, now: datetime, zone: ZoneInfo, rules: RecallRules | None = None
) -> tuple[ToReach, ...]:
    """The list: overdue first, by tier and then by lateness; visits to move; plans that are not complete."""
    today = now.astimezone(zone).date()
    found = [
        *(_damaged(facts.patients[number], today) for number in facts.damaged),
        *(_overdue(facts, trip, today) for trip in facts.trips if _is_overdue(trip, now, zone)),
        *(_left_unseen(facts, trip, today) for trip in facts.unseen),
        *(_closed(facts, trip) for trip in facts.closed),
        *(_by_hand(facts, plan, today) for plan in facts.by_hand),
        *(_incomplete(facts, plan, today) for plan in facts.drafts if _waits(facts, plan, today, zone)),
        *(_not_handed_over(facts, plan, today, zone) for plan in facts.not_handed_over),
    ]
    lines = [_with_next(facts, line, today, rules) for line in _one_a_patient(found)]
    return tuple(sorted((line for line in lines if _is_followed(facts, line)), key=_place))


def _is_followed(facts: Open, line: ToReach) -> bool:
    """Whoever moved away, died, refused or is lost is on another list, and can be taken up again."""
    return line.patient.id not in facts.standings


def _one_a_patient(found: Iterable[ToReach]) -> list[ToReach]:
    by_patient: dict[int, list[ToReach]] = {}
    for item in sorted(found, key=_place):
        by_patient.setdefault(item.patient.id, []).append(item)
    return [replace(first, also=tuple(others)) for first, *others in by_patient.values()]


def _with_next(facts: Open, line: ToReach, today: date, rules: RecallRules | None) -> ToReach:
    """The attempts made for this, and what the ladder of its tier asks for next."""
    if line.kind != "overdue":
        return line
    # The ladder begins with the first of the visits that are overdue now.
    since = min(item.since for item in (line, *line.also) if item.kind == "overdue")
    tried = tuple(one for one in facts.attempts.get(line.patient.id, ()) if one.day >= since)
    following = next_for(rules, line.tier, tried, since) if rules else None
    waits = following is not None and following.on > today
    return replace(line, tried=tried, next=following, waits=waits)


def _place(item: ToReach) -> tuple[int, bool, int, int, date, str]:
    kind, tier = _ORDER.index(item.kind), _TIERS.index(item.tier)
    return (kind, item.waits, tier, -item.days, item.since, item.patient.code)


def _is_overdue(trip: TripView, now: datetime, zone: ZoneInfo) -> bool:
    return lateness(VisitDays(trip.day, trip.window_end, trip.status), now, zone) == "overdue"


def _damaged(patient: PatientView, today: date) -> ToReach:
    return ToReach(kind="damaged", patient=patient, tier="A", since=today, days=0, plan_id=0)


def _overdue(facts: Open, trip: TripView, today: date) -> ToReach:
    since_then = [
        day for number, day in facts.seen.get(trip.patient_id, ()) if number != trip.id and day >= trip.day
    ]
    return ToReach(
        kind="plan again" if since_then else "overdue",
        patient=facts.patients[trip.patient_id],
        tier=trip.tier,
        since=date.fromordinal(trip.window_end.toordinal() + 1),
        days=days_overdue(VisitDays(trip.day, trip.window_end), today),
        plan_id=trip.plan_id,
        trip_id=trip.id,
        due_by=trip.window_end,
        missed=trip.status == "noshow",
        needs=_needs_of(facts, trip),
        seen=max(since_then, default=None),
        seen_in_time=any(day <= trip.window_end for day in since_then),
    )


def _left_unseen(facts: Open, trip: TripView, today: date) -> ToReach:
    """Here on an earlier day, and no look is written down: what the visit was for is as open as before."""
    return ToReach(
        kind="left unseen",
        patient=facts.patients[trip.patient_id],
        tier=trip.tier,
        since=trip.seen_on or trip.day,
        days=days_overdue(VisitDays(trip.day, trip.window_end), today),
        plan_id=trip.plan_id,
        trip_id=trip.id,
        due_by=trip.window_end if trip.serves else None,
        needs=tuple(need for need in _needs_of(facts, trip) if need.key not in trip.served),
    )


def _closed(facts: Open, trip: TripView) -> ToReach:
    return ToReach(
        kind="closed day",
        patient=facts.patients[trip.patient_id],
        tier=trip.tier,
        since=trip.day,
        days=0,
        plan_id=trip.plan_id,
        trip_id=trip.id,
        due_by=trip.window_end,
        needs=_needs_of(facts, trip),
    )


def _needs_of(facts: Open, trip: TripView) -> tuple[ListedNeed, ...]:
    gist = facts.gists.get(trip.plan_id)
    return gist.needs_of(trip.serves) if gist else ()


def _by_hand(facts: Open, plan: ListedPlan, today: date) -> ToReach:
    return _from_plan(facts, plan, "plan by hand", plan.as_of, today, _soonest(plan.gist.needs))


def _waits(facts: Open, plan: ListedPlan, today: date, zone: ZoneInfo) -> bool:
    """A draft with questions waits at once; an unsigned one without, from the next day on.

    A patient with a signed plan is not lost while a changed one waits, unless it has questions.
    """
    if not plan.gist.signable:
        return True
    drafted = plan.drafted_at.astimezone(zone).date()
    return plan.patient_id not in facts.in_force and max(drafted, plan.as_of) < today


def _incomplete(facts: Open, plan: ListedPlan, today: date) -> ToReach:
    in_force = plan.patient_id in facts.in_force
    needs = () if in_force else _soonest(plan.gist.needs)
    return _from_plan(facts, plan, "plan incomplete", plan.as_of, today, needs)


def _not_handed_over(facts: Open, plan: ListedPlan, today: date, zone: ZoneInfo) -> ToReach:
    signed = (plan.signed_at or plan.drafted_at).astimezone(zone).date()
    return _from_plan(facts, plan, "new version", signed, today, ())


def _from_plan(
    facts: Open, plan: ListedPlan, kind: ReachKind, since: date, today: date, needs: tuple[ListedNeed, ...]
) -> ToReach:
    due_by = min((need.latest for need in needs), default=None)
    return ToReach(
        kind=kind,
        patient=facts.patients[plan.patient_id],
        tier=_strictest(plan.gist, needs),
        since=since,
        days=max(0, (today - due_by).days) if due_by else 0,
        plan_id=plan.id,
        due_by=due_by,
        questions=plan.gist.questions,
        blocked=not plan.gist.signable,
        needs=needs,
    )


def _soonest(needs: Iterable[ListedNeed]) -> tuple[ListedNeed, ...]:
    """The checks that must come first: those with the earliest last day."""
    still = [need for need in needs if not need.served]
    first = min((need.latest for need in still), default=None)
    return tuple(need for need in still if need.latest == first)


def _strictest(gist: PlanGist, needs: tuple[ListedNeed, ...]) -> Tier:
    tiers = {*gist.tiers, *(need.tier for need in needs)}
    return next((tier for tier in _TIERS if tier in tiers), "C")
