"""Why a visit is on its day: whom it serves, which window closes it in, and which gap forces it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from followup.clinical.careplan import CarePlan, CheckGap, ReviewNeed, Trip
from followup.clinical.english import counted, day_words
from followup.clinical.plan.gaps import gap_days
from followup.clinical.plan.keys_told import PlanNames
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.statuses import TO_COME
from followup.clinical.words.why_reasons import tell
from followup.said import say


def tell_trip(trip: Trip, plan: CarePlan, protocol: Protocol, traced: bool) -> Iterator[str]:
    names = PlanNames(plan, protocol)
    yield say("Visit {number} is on {date}.", number=trip.number, date=day_words(trip.date))
    if trip.status not in TO_COME:
        yield say("It stands here as the record tells it.")
    needs = [need for need in plan.needs if need.key in trip.serves]
    for need in needs:
        yield say(
            "It is for this: {look}, to be seen from {earliest} to {latest}, best on {target}.",
            look=names.look(need.key),
            earliest=day_words(need.earliest),
            latest=day_words(need.latest),
            target=day_words(need.target),
        )
    if trip.status in TO_COME:
        yield from _its_day(trip, needs, plan, names)
    for need in needs:
        yield from tell(need.reasons, plan, protocol, traced=traced)
    yield from tell(trip.reasons, plan, protocol, traced=traced)
    if not needs and not trip.reasons and trip.status in TO_COME:
        yield say("It is booked, and a booked visit is kept unless fewer visits can do without it.")


def _its_day(trip: Trip, needs: list[ReviewNeed], plan: CarePlan, names: PlanNames) -> Iterator[str]:
    if needs:
        last = min(needs, key=lambda n: n.latest)
        first = max(needs, key=lambda n: n.earliest)
        yield say(
            "It can't be before {earliest} ({first_look}) nor after {latest} ({last_look}).",
            earliest=day_words(first.earliest),
            first_look=names.look(first.key),
            latest=day_words(last.latest),
            last_look=names.look(last.key),
        )
    for gap in plan.gaps:
        yield from _forced(trip, gap, plan, names, min((n.latest for n in needs), default=date.max))
    if trip.cannot_move:
        yield say("It is booked and can't be moved.")
    elif trip.status == "booked":
        yield say("It is booked; a booked visit moves only where fewer visits come of it.")
    for service in trip.overbooked:
        yield say("It is beyond the day's places for {service}, because it is urgent.", service=service)
    yield say("Of the days that leave the fewest visits it lies nearest to the days aimed at.")


def _forced(trip: Trip, gap: CheckGap, plan: CarePlan, names: PlanNames, latest: date) -> Iterator[str]:
    """The last day that a gap rule leaves for this visit, where no need closes it in sooner."""
    before = max((t.date for t in plan.trips if t.date < trip.date and t.status != "noshow"), default=None)
    given = [course for course in plan.courses if course.state != "stopped"]
    days = [day for day in gap_days(gap, given) if before is None or day > before]
    if len(days) <= gap.limit or days[gap.limit] > latest:
        return
    last = days[gap.limit]
    since = (
        say("after the visit on {before}", before=day_words(before))
        if before
        else say("from the first drop on")
    )
    if gap.kind == "look":
        yield say(
            "{side} eye: two looks lie no more than {limit} apart, so {since} it can't be after {last}.",
            side=gap.eye.capitalize(),
            limit=counted(gap.limit + 1, "day", "days"),
            since=since,
            last=day_words(last),
        )
        return
    what = "steroid" if gap.kind == "pressure" else "NSAID"
    least = (
        say("{from_count} or more a day of {what}", from_count=gap.from_count, what=what)
        if gap.from_count > 1
        else what
    )
    length = counted(gap.limit, "day", "days")
    yield say(
        "{side} eye, {gap}: no more than {length} on {least} may pass {since} unchecked, so "
        "it can't be after {last}.",
        side=gap.eye.capitalize(),
        gap=names.watched(gap),
        length=length,
        least=least,
        since=since,
        last=day_words(last),
    )


def tell_gap(gap: CheckGap, plan: CarePlan, protocol: Protocol, traced: bool) -> Iterator[str]:
    yield say("{side} eye. {gap}", side=gap.eye.capitalize(), gap=PlanNames(plan, protocol).limit(gap))
    for trip in plan.trips:
        if gap.reasons and not trip.serves and any(reason in trip.reasons for reason in gap.reasons):
            yield say(
                "Visit {number} on {date} is there because of it.",
                number=trip.number,
                date=day_words(trip.date),
            )
    yield from tell(gap.reasons, plan, protocol, traced=traced)
