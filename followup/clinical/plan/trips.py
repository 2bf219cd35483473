"""From needs to trips: gap rules, booked visits, and what can't be served."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from followup.clinical.careplan import (
    BeforeLeaving,
    CheckGap,
    Course,
    Decided,
    Impossible,
    Reason,
    ReviewNeed,
    Tier,
    Trip,
)
from followup.clinical.english import day_words
from followup.clinical.facts.eye_rules import EyeRules
from followup.clinical.plan.closed_days import over_closed_days, same_day_checks
from followup.clinical.plan.decided import Decisions, settle
from followup.clinical.plan.gaps import check_gaps, gap_rules
from followup.clinical.plan.needs import Opened, before_leaving
from followup.clinical.plan.served import Past, first_day_to_come
from followup.clinical.plan.stays import ELSEWHERE, STANDS, Stays
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record, TripRecord
from followup.said import say
from followup.timing.calendar import Calendar
from followup.timing.trip_types import BookedTrip, GapRule, PlannedTrip, TripNeed, TripsPlan
from followup.timing.trips import plan_trips


@dataclass(frozen=True)
class Visits:
    """``before_leaving`` are checks on the day of surgery that go with looks put off over closed days."""

    trips: tuple[Trip, ...]
    needs: tuple[ReviewNeed, ...]
    impossible: tuple[Impossible, ...]
    decided: tuple[Decided, ...]
    before_leaving: tuple[BeforeLeaving, ...]
    notices: tuple[str, ...]


def draft_visits(
    record: Record,
    protocol: Protocol,
    eyes: Sequence[EyeRules],
    courses: Sequence[Course],
    decisions: Decisions,
    past: Past,
    calendar: Calendar,
    as_of: date,
) -> Visits:
    """The fewest trips that see everything in time, after those that are past."""
    opened = decisions.opened
    done = {o.need.key for o in opened if o.need.key in past.served}
    unknown = {need.key for need in past.unknown}
    again = {o.need.key: o for o in past.reopened}
    live = [
        again.get(o.need.key) or decisions.narrowed(o) for o in opened if o.need.key not in done | unknown
    ]
    start = first_day_to_come(record, as_of)
    over = over_closed_days(live, protocol, calendar, start)
    gaps, late = gap_rules(record, protocol, eyes, courses, as_of)
    stays = Stays.of(record, decisions, [o.need for o in over.opened], start)
    plan = plan_trips(
        [*_trip_needs(over.opened, done, stays), *stays.elsewhere()],
        gaps=gaps,
        booked=[*_booked(record, start, stays), *stays.booked()],
        calendar=calendar,
        horizon_start=start,
        served=past.served,
        extra=over.on_call | stays.given,
    )
    looked_at = {o.need.key: o for o in over.opened}
    needs = tuple(_needs(opened, plan, past, looked_at))
    limits = check_gaps(protocol, eyes, courses)
    why = {gap.key: gap.reasons for gap in limits}
    coming = _coming(plan, needs, record, eyes, gaps, why)
    placed = [_placed(trip, stays, over.on_call, calendar) for trip in coming]
    trips = _past_trips(record, needs, as_of) + placed
    numbered = tuple(t.model_copy(update={"number": i}) for i, t in enumerate(trips, 1))
    broken = _impossible(plan, decisions.windows, limits)
    settled = settle(broken, decisions, limits, frozenset(done | again.keys()), start)
    given_up = tuple(
        say("The booked visit on {day} is given up.", day=day_words(day))
        for day in plan.given_up
        if day not in stays.moved
    )
    there = [check for eye in eyes for check in before_leaving(eye, eye.context.operation.end)]
    return Visits(
        numbered,
        needs,
        settled.impossible,
        settled.decided,
        same_day_checks(over.put_off, eyes, protocol, there),
        (*decisions.notices, *_not_offered(stays, decisions, calendar), *late, *given_up),
    )


def _not_offered(stays: Stays, decisions: Decisions, calendar: Calendar) -> Iterator[str]:
    """Decided days at this clinic that its calendar knows nothing of: the visit stands, and is named."""
    for key, decision in decisions.days.items():
        day, service = decision.day, decisions.windows[key].need.service
        if day in stays.places and decision.place is None and day and not calendar.offers(service, day):
            yield say(
                "The calendar offers nothing for the visit decided for {day}: make sure of it.",
                day=day_words(day),
            )


def _impossible(
    plan: TripsPlan, windows: Mapping[str, Opened], limits: Sequence[CheckGap]
) -> Iterator[Impossible]:
    """What can't be kept, with what it looks at and when it should be."""
    by_gap = {gap.key: gap for gap in limits}
    for item in plan.impossible:
        entry, gap = windows.get(item.need), by_gap.get(item.need)
        yield Impossible(
            need=item.need,
            text=item.reason,
            before=item.before,
            after=item.after,
            kind=entry.need.kind if entry else gap.look if gap else "",
            eye=entry.need.eye if entry else gap.eye if gap else None,
            earliest=entry.need.earliest if entry else None,
            latest=entry.need.latest if entry else None,
        )


def _placed(trip: Trip, stays: Stays, on_call: frozenset[tuple[str, date]], calendar: Calendar) -> Trip:
    """A visit whose day the surgeon set, or that whoever is on call gives: where it is, and when."""
    serves = tuple(key for key in trip.serves if not key.startswith(STANDS))
    services = tuple(name for name in trip.services if name != ELSEWHERE)
    if trip.date in stays.places:
        told: dict[str, object] = {"decided": True, "place": stays.places[trip.date]}
        return trip.model_copy(update=told | {"serves": serves, "services": services})
    closed = calendar.closed_days
    if closed is not None and any((name, trip.date) in on_call for name in trip.services):
        hours = (closed.opens, closed.closes) if closed.opens and closed.closes else None
        return trip.model_copy(update={"place": closed.place, "hours": hours})
    return trip


def _trip_needs(live: Sequence[Opened], done: set[str], stays: Stays) -> list[TripNeed]:
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
            elsewhere=o.need.key in stays.away,
        )
        for o in live
    ]


def _booked(record: Record, start: date, stays: Stays) -> list[BookedTrip]:
    booked = {t.date: t.cannot_move for t in record.trips if t.status == "booked" and t.date >= start}
    return [BookedTrip(day, fixed) for day, fixed in sorted(booked.items()) if day not in stays.moved]


def _needs(
    opened: Sequence[Opened], plan: TripsPlan, past: Past, looked_at: Mapping[str, Opened]
) -> list[ReviewNeed]:
    planned = {key: trip.day for trip in plan.trips for key in trip.serves}
    broken = {i.need for i in plan.impossible}
    needs = []
    for entry in opened:
        need = looked_at.get(entry.need.key, entry).need
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
