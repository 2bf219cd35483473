"""From courses to the rounds of the day: phases, clock times, and who is put in when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from followup.clinical.careplan import Course
from followup.clinical.day_plan import DayPhase, Dose
from followup.clinical.english import day_words
from followup.clinical.plan.keys_told import where
from followup.clinical.protocol.formulary import label_of
from followup.clinical.protocol.protocol import Protocol
from followup.said import say
from followup.timing.calendar import every_day
from followup.timing.rounds import Phase, RoundBottle, fits, plan_rounds
from followup.timing.waking import WakingHours, minutes_of


@dataclass(frozen=True)
class Span:
    """A longest run of dates on which every scheduled bottle keeps its count."""

    start: date
    days: int
    counts: dict[str, int]

    @property
    def end(self) -> date:
        return self.start + timedelta(days=self.days - 1)


def scheduled(courses: Sequence[Course]) -> list[Course]:
    """Courses with a place in the day: held, stopped and as-needed ones have none."""
    return [c for c in courses if c.state == "active" and not c.as_needed and c.steps]


def spans(courses: Sequence[Course], start: date) -> list[Span]:
    """The phases from ``start`` to the end of the last course; days without a drop are left out."""
    last = max((c.last_day for c in courses if c.last_day), default=start)
    found: list[Span] = []
    for day in every_day(start, last):
        counts = {c.key: n for c in courses if (n := c.count_on(day))}
        before = found[-1] if found else None
        if before and before.counts == counts and before.end + timedelta(days=1) == day:
            found[-1] = Span(before.start, before.days + 1, counts)
        elif counts:
            found.append(Span(day, 1, counts))
    return found


def draft_rounds(
    courses: Sequence[Course],
    protocol: Protocol,
    waking: WakingHours,
    start: date,
    previous: frozenset[str] | None,
    own: Mapping[str, frozenset[str]],
) -> tuple[tuple[DayPhase, ...], tuple[str, ...]]:
    """The clock times of every phase from ``start`` on, and what a reader should be told of them.

    ``previous`` are the clock times of the sheet in force, ``own`` those of each course on it.
    """
    timed = scheduled(courses)
    phases = spans(timed, start)
    if not phases:
        return (), ()
    shown = {key for span in phases for key in span.counts}
    bottles = [_bottle(c, protocol, waking, own.get(c.key)) for c in timed if c.key in shown]
    plan = plan_rounds(
        waking.slots,
        [Phase(span.days, span.counts) for span in phases],
        bottles,
        previous=None if previous is None else frozenset(waking.slot_of(clock) for clock in previous),
        price=protocol.round_price,
    )
    made = []
    for span, rounds in zip(phases, plan.phases, strict=True):
        doses = tuple(
            Dose(course=key, count=n, times=tuple(waking.clock(s) for s in rounds.bottle_times[key]))
            for key, n in span.counts.items()
        )
        times = tuple(waking.clock(slot) for slot in rounds.times)
        made.append(DayPhase(start=span.start, end=span.end, times=times, doses=doses))
    return tuple(made), tuple(_moved(timed, waking, protocol))


def fits_the_day(course: Course, protocol: Protocol, waking: WakingHours) -> bool:
    """Whether every step of the course has its places in the patient's waking day."""
    bottle = _bottle(course, protocol, waking)
    return all(fits(bottle, step.count, waking.slots) for step in course.steps)


def _bottle(
    course: Course, protocol: Protocol, waking: WakingHours, own: frozenset[str] | None = None
) -> RoundBottle:
    medicine = protocol.formulary[course.medicine]
    fixed = frozenset(waking.slot_of(f"{t:%H:%M}") for t in course.fixed_times) or None
    # Usual times hold only while every step has that many drops; two on one slot would be one too few.
    if fixed is not None and any(step.count != len(fixed) for step in course.steps):
        fixed = None
    allowed = frozenset({waking.slots - 1}) if medicine.bedtime_only and fixed is None else None
    before = None if own is None else frozenset(waking.slot_of(clock) for clock in own)
    return RoundBottle(course.key, medicine.shortest_interval_hours, allowed, fixed, before)


def _moved(courses: Sequence[Course], waking: WakingHours, protocol: Protocol) -> list[str]:
    """Fixed times that are not on the hours of this waking day move to the nearest round."""
    told: list[str] = []
    for course in courses:
        for t in course.fixed_times:
            at = waking.clock(waking.slot_of(f"{t:%H:%M}"))
            if at != f"{t:%H:%M}":
                name = label_of(course.medicine, protocol.formulary)
                told.append(
                    say(
                        "{medicine}, {eye}: the usual time {usual} moves to the round at {at}.",
                        medicine=name,
                        eye=where(course.eye),
                        usual=format(t, "%H:%M"),
                        at=at,
                    )
                )
    return told


def long_rounds(phases: Sequence[DayPhase], courses: Sequence[Course], protocol: Protocol) -> list[str]:
    """Rounds that last longer than the gap after them: bottles of one eye wait for each other."""
    by_key = {c.key: c for c in courses}
    told: list[str] = []
    for phase in phases:
        for i, clock in enumerate(phase.times):
            minutes = _round_minutes(clock, phase, by_key, protocol)
            after = phase.times[(i + 1) % len(phase.times)]
            gap = (minutes_of(after) - minutes_of(clock)) % 1440 or 1440
            if minutes > gap:
                since = day_words(phase.start)
                told.append(
                    say(
                        "From {since} the round at {clock} lasts {minutes} minutes, past {after}.",
                        since=since,
                        clock=clock,
                        minutes=minutes,
                        after=after,
                    )
                )
                break
    return told


def _round_minutes(clock: str, phase: DayPhase, by_key: dict[str, Course], protocol: Protocol) -> int:
    longest = 0
    for eye in ("right", "left"):
        here = [by_key[d.course] for d in phase.doses if clock in d.times and by_key[d.course].eye == eye]
        waits = sorted(protocol.formulary[c.medicine].wait_minutes for c in here)
        longest = max(longest, sum(waits[1:]))
    return longest
