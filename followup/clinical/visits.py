"""From needs to trips: gap rules, booked visits, and what can't be served."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from followup.clinical.careplan import CheckGap, Course, Impossible, Reason, ReviewNeed, Tier, Trip
from followup.clinical.courses import last_steroid_day
from followup.clinical.eye_rules import EyeRules
from followup.clinical.needs import Opened, day_of
from followup.clinical.protocol import Protocol
from followup.clinical.record import Record, TripRecord
from followup.clinical.served import Past, checks, first_day_to_come, looks, steroid_dates
from followup.timing.calendar import Calendar
from followup.timing.trip_types import BookedTrip, GapRule, PlannedTrip, TripNeed, TripsPlan
from followup.timing.trips import plan_trips

_SERVICES = {"pressure": "pressure", "cornea": "review"}


@dataclass(frozen=True)
class Visits:
    trips: tuple[Trip, ...]
    needs: tuple[ReviewNeed, ...]
    impossible: tuple[Impossible, ...]
    notices: tuple[str, ...]


def draft_visits(
    record: Record,
    protocol: Protocol,
    eyes: Sequence[EyeRules],
    courses: Sequence[Course],
    opened: Sequence[Opened],
    past: Past,
    calendar: Calendar,
    as_of: date,
) -> Visits:
    """The fewest trips that see everything in time, after those that are past."""
    done = {o.need.key for o in opened if o.need.key in past.served}
    unknown = {need.key for need in past.unknown}
    again = {o.need.key: o for o in past.reopened}
    live = [again.get(o.need.key, o) for o in opened if o.need.key not in done | unknown]
    gaps, late = gap_rules(record, protocol, eyes, courses, as_of)
    start = first_day_to_come(record, as_of)
    plan = plan_trips(
        _trip_needs(live, done),
        gaps=gaps,
        booked=_booked(record, start),
        calendar=calendar,
        horizon_start=start,
        served=past.served,
    )
    needs = tuple(_needs(opened, plan, past, again))
    why = {gap.key: gap.reasons for gap in check_gaps(protocol, eyes, courses)}
    trips = _past_trips(record, needs, as_of) + _coming(plan, needs, record, eyes, gaps, why)
    numbered = tuple(t.model_copy(update={"number": i}) for i, t in enumerate(trips, 1))
    impossible = tuple(
        Impossible(need=i.need, text=i.reason, before=i.before, after=i.after) for i in plan.impossible
    )
    given_up = tuple(f"The booked visit on {day.isoformat()} is given up." for day in plan.given_up)
    return Visits(numbered, needs, impossible, late + given_up)


def _trip_needs(live: Sequence[Opened], done: set[str]) -> list[TripNeed]:
    """A need that hangs on one of which nobody knows whether it was done keeps its own window."""
    keys = done | {o.need.key for o in live}
    return [
        TripNeed(
            key=o.need.key,
            service=o.need.service,
            earliest=o.need.earliest,
            target=o.need.target,
            latest=o.need.latest,
            weight=o.need.weight,
            urgent=o.need.urgent,
            after=o.trip_after(keys, str(o.need.eye)),
        )
        for o in live
    ]


def _booked(record: Record, start: date) -> list[BookedTrip]:
    booked = {t.date: t.cannot_move for t in record.trips if t.status == "booked" and t.date >= start}
    return [BookedTrip(day, fixed) for day, fixed in sorted(booked.items())]


def gap_rules(
    record: Record, protocol: Protocol, eyes: Sequence[EyeRules], courses: Sequence[Course], as_of: date
) -> tuple[list[GapRule], tuple[str, ...]]:
    """Steroid dates between pressure checks by tier, and NSAID dates between looks at the cornea."""
    rules: list[GapRule] = []
    told: list[str] = []
    by_eye = {eye.eye: eye for eye in eyes}
    for gap in check_gaps(protocol, eyes, courses):
        days = _gap_days(gap, courses, by_eye[gap.eye])
        seen = checks(record, gap.eye, gap.finding, as_of) if gap.finding else looks(record, gap.eye, as_of)
        service = protocol.kinds[gap.need].service if gap.need else _SERVICES[gap.kind]
        rules += _rule(gap, days, seen, as_of, service, told)
    return rules, tuple(told)


def _gap_days(gap: CheckGap, courses: Sequence[Course], eye: EyeRules) -> frozenset[date]:
    if gap.first is not None and gap.last is not None:
        return frozenset(gap.first + timedelta(days=n) for n in range((gap.last - gap.first).days + 1))
    role = "steroid" if gap.kind == "pressure" else "nsaid"
    return steroid_dates(_counts(courses, eye, role), gap.from_count)


def check_gaps(
    protocol: Protocol, eyes: Sequence[EyeRules], courses: Sequence[Course]
) -> tuple[CheckGap, ...]:
    """The limits between two looks that these courses bring with them, with their reasons."""
    gaps: list[CheckGap] = []
    for eye in eyes:
        tier, setting = eye.tier
        steroid = _counts(courses, eye, "steroid")
        why = _tier_reason(protocol, tier), *(f.reason for f in setting if f.rule.tier == tier)
        for limit in protocol.tiers[tier].gaps if steroid else ():
            key = f"{eye.eye}:pressure-gap-{limit.from_count}"
            gaps.append(
                CheckGap(
                    key=key,
                    eye=eye.eye,
                    kind="pressure",
                    limit=limit.limit,
                    from_count=limit.from_count,
                    finding="pressure",
                    reasons=why,
                )
            )
        long = protocol.long_nsaid
        if len(_counts(courses, eye, "nsaid")) > long.after_days:
            reason = Reason(rule="long-nsaid", because=long.because, source=long.source, mark=long.mark)
            key = f"{eye.eye}:nsaid-gap"
            gaps.append(
                CheckGap(key=key, eye=eye.eye, kind="cornea", limit=long.gap, from_count=1, reasons=(reason,))
            )
        gaps += _look_gaps(eye, courses)
    return tuple(gaps)


def _look_gaps(eye: EyeRules, courses: Sequence[Course]) -> list[CheckGap]:
    """The limits that rules set between two looks, each id once: the strictest, over all the days."""
    last = last_steroid_day(c for c in courses if c.eye == eye.eye and not c.from_before)
    found: dict[str, CheckGap] = {}
    for fired in eye.fired:
        for effect in fired.rule.gap:
            start, end = day_of(effect.first, eye, last), day_of(effect.last, eye, last)
            if start is None or end is None or end < start:
                continue
            before = found.get(effect.id)
            found[effect.id] = CheckGap(
                key=f"{eye.eye}:{effect.id}",
                eye=eye.eye,
                kind="look",
                # Two looks so many days apart have one date fewer between them.
                limit=min(effect.days - 1, before.limit) if before else effect.days - 1,
                from_count=0,
                need=effect.kind,
                finding=effect.finding,
                first=min(start, before.first or start) if before else start,
                last=max(end, before.last or end) if before else end,
                reasons=(*(before.reasons if before else ()), fired.reason),
            )
    return list(found.values())


def _tier_reason(protocol: Protocol, tier: Tier) -> Reason:
    setting = protocol.tiers[tier]
    return Reason(rule=f"tier-{tier}", because=setting.because, source=setting.source, mark=setting.mark)


def _counts(courses: Sequence[Course], eye: EyeRules, role: str) -> list[tuple[date, int]]:
    """Drops a day of one kind; what waits or is left out counts as if it were given: no fewer looks."""
    mine = [c for c in courses if c.eye == eye.eye and c.role == role]
    totals: dict[date, int] = {}
    for course in mine:
        for step in course.steps:
            for i in range(step.days):
                day = step.start + timedelta(days=i)
                totals[day] = totals.get(day, 0) + step.count
    return sorted(totals.items())


def _rule(
    gap: CheckGap,
    days: frozenset[date],
    seen: Sequence[date],
    as_of: date,
    service: str,
    told: list[str],
) -> list[GapRule]:
    """The rule for what is left since the last check; a gap already broken asks for a visit at once."""
    key, limit, last = gap.key, gap.limit, seen[-1] if seen else None
    left = frozenset(day for day in days if last is None or day > last)
    gone = sum(day < as_of for day in left)
    if gone > limit:
        since = last.isoformat() if last else "the first drop"
        told.append(f"{key}: {gone} days since {since}, more than {limit}: a check is due at once.")
    return [GapRule(key, left, limit, service)] if left else []


def _needs(
    opened: Sequence[Opened], plan: TripsPlan, past: Past, again: dict[str, Opened]
) -> list[ReviewNeed]:
    planned = {key: trip.day for trip in plan.trips for key in trip.serves}
    broken = {i.need for i in plan.impossible}
    needs = []
    for entry in opened:
        need = again.get(entry.need.key, entry).need
        start, target, end = plan.windows.get(need.key, (need.earliest, need.target, need.latest))
        changes: dict[str, object] = {"earliest": start, "target": target, "latest": end}
        if need.key in past.served:
            changes = {"state": "served", "served_on": past.served[need.key]}
        elif need.key in broken and need.key not in planned:
            changes["state"] = "impossible"
        needs.append(need.model_copy(update=changes))
    return needs


def _past_trips(record: Record, needs: Sequence[ReviewNeed], as_of: date) -> list[Trip]:
    """Visits over, as the record tells them, so that what was done or missed can be drawn."""
    trips = []
    for entry in sorted(record.trips, key=lambda t: t.date):
        if entry.date > as_of or entry.status == "booked":
            continue
        served = tuple(n.key for n in needs if n.served_on == entry.date)
        trips.append(
            Trip(
                number=0,
                date=entry.date,
                status=entry.status,
                serves=served or entry.served,
                services=(),
                window_start=entry.date,
                window_end=entry.date,
                tier=_strictest(needs, served),
                cannot_move=entry.cannot_move,
            )
        )
    return trips


def _coming(
    plan: TripsPlan,
    needs: Sequence[ReviewNeed],
    record: Record,
    eyes: Sequence[EyeRules],
    gaps: Sequence[GapRule],
    why: Mapping[str, tuple[Reason, ...]],
) -> list[Trip]:
    booked = {t.date: t for t in record.trips if t.status == "booked"}
    tiers: list[Tier] = [eye.tier[0] for eye in eyes]
    highest: Tier = min(tiers, default="C")
    before = [date.min, *(trip.day for trip in plan.trips)]
    coming = []
    for last, trip in zip(before, plan.trips, strict=False):
        made = _trip(trip, needs, booked.get(trip.day), highest)
        at_work = [gap for gap in gaps if not trip.serves and any(day > last for day in gap.days)]
        reasons = tuple(dict.fromkeys(reason for gap in at_work for reason in why[gap.key]))
        coming.append(made.model_copy(update={"reasons": reasons}))
    return coming


def _trip(trip: PlannedTrip, needs: Sequence[ReviewNeed], booked: TripRecord | None, highest: Tier) -> Trip:
    return Trip(
        number=0,
        date=trip.day,
        status="booked" if booked else "proposed",
        serves=trip.serves,
        services=trip.services,
        window_start=trip.window_start,
        window_end=trip.window_end,
        tier=_strictest(needs, trip.serves) if trip.serves else highest,
        cannot_move=booked is not None and booked.cannot_move,
        hour=booked.hour if booked else None,
        overbooked=trip.overbooked,
    )


def _strictest(needs: Sequence[ReviewNeed], keys: Sequence[str]) -> Tier:
    tiers: list[Tier] = [n.tier for n in needs if n.key in keys]
    return min(tiers, default="C")
