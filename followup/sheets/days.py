"""The calendar to tick: every day to the end of the drops, then those on which something happens."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from followup.clinical.careplan import Course
from followup.clinical.plan.course_table import DaysRow
from followup.clinical.statuses import TO_COME
from followup.language.dates import opening, short_date, weekday
from followup.sheets.inputs import SheetInputs
from followup.sheets.medicines import dose, go_on
from followup.sheets.model import CalendarBlock, CalendarDay, CalendarEvent, CalendarRound
from followup.timing.calendar import every_day

_LONGEST = 400  # days; beyond that a date in the record is wrong


def calendar(inputs: SheetInputs) -> CalendarBlock | None:
    """The days from the first with something to do to the last; None where there is none."""
    days = _days(inputs)
    if not days:
        return None
    _ = inputs.words.gettext
    return CalendarBlock(
        heading=_("Day by day"),
        how=_("Tick a box when all drops of that time are in."),
        # Translators: explains a black mark beside a day of the calendar.
        mark=_("A black mark shows what is new from that day on."),
        day_head=_("Day"),
        rounds_head=_("Tick here"),
        days=tuple(_day(inputs, day) for day in days),
        goes_on=go_on(inputs, "active"),
    )


def _days(inputs: SheetInputs) -> list[date]:
    ends = [last for c in inputs.courses("active") if (last := inputs.last_day(c))]
    visits = [t.date for t in inputs.plan.trips if t.status in TO_COME]
    starts = [row.start for row in inputs.rows] + visits
    if not starts:
        return []
    first = max(min(starts), inputs.printed_on)
    # What goes on has no last day: only what happens to it stands here after all other drops.
    drops_end = max([*ends, *(row.end for row in inputs.rows if row.end)], default=date.min)
    going_on = frozenset(c.key for c in inputs.courses("active") if inputs.goes_on(c))
    happens = [b.discard for b in inputs.plan.supply if b.course in going_on and b.units is None]
    last = min(max([drops_end, *visits, *happens]), first + timedelta(days=_LONGEST))
    return [day for day in every_day(first, last) if day <= drops_end or any(_events(inputs, day))]


def _day(inputs: SheetInputs, day: date) -> CalendarDay:
    row = next((row for row in inputs.rows if row.holds_on(day)), None)
    return CalendarDay(
        weekday=opening(weekday(day, inputs.words.language)),
        day=short_date(day, inputs.words.language),
        native=inputs.native(str(day.day)),
        rounds=_rounds(inputs, row) if row else (),
        events=tuple(_events(inputs, day)),
    )


def _rounds(inputs: SheetInputs, row: DaysRow) -> tuple[CalendarRound, ...]:
    return tuple(
        CalendarRound(
            time=inputs.time(time),
            bottles=tuple(inputs.bottle(mark.course) for mark in inputs.in_order(row.at(time))),
        )
        for time in row.times
    )


def _events(inputs: SheetInputs, day: date) -> Iterator[CalendarEvent]:
    """A visit first, then changes of number, then bottles."""
    _ = inputs.words.gettext
    if any(t.date == day and t.status in TO_COME for t in inputs.plan.trips):
        yield CalendarEvent(kind="visit", words=_("Visit at the clinic."))
    for course in inputs.courses("active"):
        yield from (CalendarEvent(kind="change", words=words) for words in _changes(inputs, course, day))
    yield from _bottles(inputs, day)


def _changes(inputs: SheetInputs, course: Course, day: date) -> Iterator[str]:
    """What is new in one course on ``day``: it starts, its number changes, it ends."""
    if course.as_needed or not course.steps:
        return
    _ = inputs.words.gettext
    values = inputs.named(course)
    now, before = course.step_on(day), course.step_on(day - timedelta(days=1))
    if now and now.count:
        values["times"] = dose(inputs, course, now)
        if before and before.count and (before.count, before.mg) != (now.count, now.mg):
            yield _("%(eye)s, %(medicine)s: from today %(times)s.") % values
        elif not (before and before.count) and not course.from_before:
            yield _("%(eye)s, %(medicine)s: start, %(times)s.") % values
    if day == inputs.last_day(course):
        yield _("%(eye)s, %(medicine)s: today is the last day.") % values


def _bottles(inputs: SheetInputs, day: date) -> Iterator[CalendarEvent]:
    _ = inputs.words.gettext
    courses = {c.key: c for c in inputs.plan.courses if c.state == "active"}
    for bottle in inputs.plan.supply:
        course = courses.get(bottle.course)
        if course is None or bottle.units is not None:
            continue
        values = inputs.named(course) | {"number": inputs.number(str(bottle.number))}
        if bottle.opened == day:
            yield CalendarEvent(
                kind="open", words=_("Open bottle %(number)s: %(eye)s, %(medicine)s.") % values
            )
        if bottle.discard == day:
            yield CalendarEvent(
                kind="discard",
                words=_(
                    "After the last drop of this day throw away bottle %(number)s: %(eye)s, %(medicine)s."
                )
                % values,
            )
