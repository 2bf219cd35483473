"""Visits expected a day against the places of the clinic, by service where services have places."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import floor
from typing import Literal

from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record
from followup.errors import FollowupError
from followup.recall.jobs.attendance import Arrivals, Attendance, arrivals, attendance_rules, learned
from followup.records.figures.attended import past_visits
from followup.records.figures.expected import (
    WhoComes,
    operations_without_plan,
    people_in_force,
    people_to_sign,
    people_without_plan,
    visits_to_sign,
)
from followup.records.store.store import Session
from followup.timing.calendar import Calendar


@dataclass(frozen=True)
class Coming:
    """One visit to be expected. ``listed``: after an operation that has no plan yet; ``tier`` of a plan."""

    day: date
    services: tuple[str, ...]
    listed: bool = False
    tier: str | None = None


@dataclass(frozen=True)
class ServiceLoad:
    """One service on one day. ``places``: in all; None: no limit, 0: not offered."""

    service: str
    expected: int
    places: int | None

    @property
    def over(self) -> bool:
        return self.places is not None and self.expected > self.places

    @property
    def share(self) -> float:
        """How much of the places is taken: 1 where all are, more where there are too few."""
        if self.places is None or not self.expected:
            return 0
        return self.expected / self.places if self.places else float("inf")


@dataclass(frozen=True)
class DayLoad:
    """A day: people from plans, people after operations without a plan, and its services.

    ``arrivals``: how many are likely to come, where the past says so.
    """

    day: date
    open: bool
    half: bool
    visits: int
    after_operations: int
    services: tuple[ServiceLoad, ...]
    arrivals: Arrivals | None = None

    @property
    def expected(self) -> int:
        return self.visits + self.after_operations

    @property
    def likely_over(self) -> bool:
        """Whether, of whoever is likely to come, each service's part is more than its places."""
        if self.arrivals is None or not self.expected:
            return False
        part = self.arrivals.mean / self.expected
        return any(s.places is not None and s.expected * part > s.places for s in self.services)

    @property
    def limited(self) -> tuple[ServiceLoad, ...]:
        """The services whose places are counted, and those that are not offered though people come."""
        return tuple(s for s in self.services if s.places is not None and (s.places or s.expected))

    @property
    def fullest(self) -> ServiceLoad | None:
        """The service with the least room left; None where nobody comes for a service with places."""
        wanted = [s for s in self.limited if s.expected]
        return max(wanted, key=lambda s: (s.share, s.expected), default=None)

    @property
    def tenths(self) -> int:
        """How full the day is by its fullest service, in tenths of its places; 10 is full."""
        share = min(self.fullest.share, 1) if self.fullest else 0
        return max(1, floor(share * 10)) if share else 0

    @property
    def over(self) -> bool:
        """Whether somebody is expected for whom there is no place."""
        return any(s.over for s in self.services) or (not self.open and self.expected > 0)


def expected_visits(
    session: Session,
    start: date,
    days: int,
    calendar: Calendar,
    protocol: Protocol,
    routine: Callable[[date], Record],
) -> list[Coming]:
    """The visits of ``days`` days from ``start`` on, from the plans and from the operation lists.

    Every operation without a plan, from the day before ``start`` on, is taken as ``routine`` tells
    the record of an operation of that day.
    """
    end = start + timedelta(days=days - 1)
    coming = [Coming(one.day, one.services, tier=one.tier) for one in people_in_force(session, start, end)]
    coming += [Coming(day, services) for day, services in visits_to_sign(session)]
    for day, count in sorted(operations_without_plan(session, start - timedelta(days=1), end).items()):
        coming += visits_after(routine(day), calendar, protocol) * count
    return coming


def with_arrivals(
    loads: Sequence[DayLoad], coming: Iterable[Coming], past: Attendance
) -> tuple[DayLoad, ...]:
    """The days with how many are likely to come on each, where the past is enough to say so."""
    if not past.enough:
        return tuple(loads)
    likely = arrivals([(one.day, one.tier) for one in coming], past, loads[0].day, len(loads))
    return tuple(replace(load, arrivals=each) for load, each in zip(loads, likely, strict=True))


def attendance(session: Session, today: date) -> Attendance:
    """What the clinic's own past says of who comes on the day that was agreed."""
    rules = attendance_rules()
    return learned(past_visits(session, today - timedelta(days=rules.days), today), rules)


@dataclass(frozen=True)
class ExtraDay:
    """One more operating day a week: the operations, the visits that they bring by service, and the days on
    which there are too few places for somebody only then."""

    operations: int
    visits: tuple[tuple[str, int], ...]
    over: tuple[date, ...]


def one_more_day(
    loads: Sequence[DayLoad],
    coming: Sequence[Coming],
    more: tuple[int, int],
    calendar: Calendar,
    protocol: Protocol,
    routine: Callable[[date], Record],
) -> ExtraDay:
    """``more``: a weekday (0: Monday) and how many routine operations on each; beside the visits that are
    ``coming`` anyhow, of which the days have their ``loads``."""
    (weekday, operations), start, days = more, loads[0].day, len(loads)
    ahead = [load.day for load in loads if load.day.weekday() == weekday]
    extra = [one for day in ahead for one in visits_after(routine(day), calendar, protocol)] * operations
    extra = [one for one in extra if (one.day - start).days < days]
    after = load_of_days([*coming, *extra], start, days, calendar)
    services = Counter(service for one in extra for service in set(one.services))
    over = tuple(now.day for was, now in zip(loads, after, strict=True) if now.over and not was.over)
    return ExtraDay(operations * len(ahead), tuple(sorted(services.items())), over)


@dataclass(frozen=True)
class ExpectedPerson:
    """Somebody who comes on a day, by a plan in force, by a draft, or after an operation without a plan."""

    who: WhoComes
    by: Literal["plan", "draft", "operation"]


def expected_people(
    session: Session,
    start: date,
    day: date,
    calendar: Calendar,
    protocol: Protocol,
    routine: Callable[[date], Record],
) -> tuple[ExpectedPerson, ...]:
    """Whom ``forecast`` from ``start`` on counts on ``day``, by name."""
    found = [ExpectedPerson(one, "plan") for one in people_in_force(session, day, day)]
    found += [ExpectedPerson(one, "draft") for one in people_to_sign(session, day)]
    without = people_without_plan(session, start - timedelta(days=1), day)
    after = {on: visits_after(routine(on), calendar, protocol) for on in {one.day for one in without}}
    found += [
        ExpectedPerson(replace(one, day=day, services=visit.services), "operation")
        for one in without
        for visit in after[one.day]
        if visit.day == day
    ]
    return tuple(sorted(found, key=lambda one: (one.who.name.casefold(), one.who.code)))


def visits_after(record: Record, calendar: Calendar, protocol: Protocol) -> list[Coming]:
    """The visits that the protocol gives after the operation of a record.

    A look that no open day can serve is expected on its best day all the same: somebody must come.
    """
    try:
        plan = build_plan(record, protocol, as_of=record.last_operation_day, calendar=calendar)
    except FollowupError:
        # A clinic's own protocol may know no routine case: then nothing can be foreseen.
        return []
    lost = {item.need for item in plan.impossible}
    return [
        *(Coming(trip.date, trip.services, listed=True) for trip in plan.trips),
        *(Coming(need.target, (need.service,), listed=True) for need in plan.needs if need.key in lost),
    ]


def load_of_days(coming: Iterable[Coming], start: date, days: int, calendar: Calendar) -> tuple[DayLoad, ...]:
    """The visits counted by day and service, beside the places of each."""
    people: Counter[tuple[date, bool]] = Counter()
    wanted: Counter[tuple[date, str]] = Counter()
    for one in coming:
        people[one.day, one.listed] += 1
        wanted.update((one.day, service) for service in set(one.services))
    names = sorted({service for _, service in wanted} | {s.name for s in calendar.services})
    return tuple(_day(start + timedelta(days=i), people, wanted, names, calendar) for i in range(days))


def _day(
    day: date,
    people: Counter[tuple[date, bool]],
    wanted: Counter[tuple[date, str]],
    names: Iterable[str],
    calendar: Calendar,
) -> DayLoad:
    return DayLoad(
        day=day,
        open=calendar.is_open(day),
        half=calendar.is_half_day(day),
        visits=people[day, False],
        after_operations=people[day, True],
        services=tuple(_services(day, wanted, names, calendar)),
    )


def _services(
    day: date, wanted: Counter[tuple[date, str]], names: Iterable[str], calendar: Calendar
) -> Iterator[ServiceLoad]:
    """Places that the calendar itself says are taken are expected too."""
    for name in names:
        expected = wanted[day, name] + calendar.taken(day, name)
        places = calendar.places(name, day)
        if expected or places:
            yield ServiceLoad(name, expected, places)
