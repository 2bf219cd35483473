"""The whole treatment as one table in order of dates: what goes in by the clock, and the visits between.

A value of the plan: no words, no layout. Sheet, phone, pages and commands read their steps, rounds and
visits from it, so that they can't differ.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from followup.clinical.careplan import CarePlan, Course, Step, Trip
from followup.clinical.day_plan import Bottle, DayPhase, Dose
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.record.base import BOTH_EYES
from followup.clinical.statuses import NOT_COMING
from followup.timing.waking import MINUTES_A_DAY, minutes_of

# Rounds a day beyond which a row says each bottle's times in words: columns would be too narrow to read.
MOST_ROUNDS = 9


@dataclass(frozen=True)
class TimedStep:
    """A step of a course with its clock times, none where the course has no place in the rounds.

    ``since`` is None where the patient uses the medicine already, ``until`` where nobody has ordered a
    last day: there only the plan begins, and stops, to speak of it.
    """

    step: Step
    times: tuple[str, ...]
    since: date | None
    until: date | None


@dataclass(frozen=True)
class CourseRow:
    """One course by its steps, with its bottles. ``goes_on``: it is used on after all other rows."""

    course: Course
    steps: tuple[TimedStep, ...]
    goes_on: bool
    bottles: tuple[Bottle, ...]


@dataclass(frozen=True)
class BottleMark:
    """One bottle's share of a row of days: one drop, or so many tablets, at each of ``times``."""

    course: Course
    step: Step | None
    times: tuple[str, ...]

    @property
    def tablets(self) -> float | None:
        return self.step.tablets if self.step else None

    @property
    def every(self) -> int | None:
        """The hours from each time to the next where they are whole and always the same."""
        minutes = [minutes_of(time) for time in self.times]
        between = {(after - before) % MINUTES_A_DAY for before, after in pairwise(minutes)}
        hours, rest = divmod(between.pop() if len(between) == 1 else 1, 60)
        return None if rest else hours


@dataclass(frozen=True)
class DaysRow:
    """Days with the same drops throughout, at ``times``. ``end`` None: they go on past the plan."""

    start: date
    end: date | None
    times: tuple[str, ...]
    marks: tuple[BottleMark, ...]

    def at(self, time: str) -> tuple[BottleMark, ...]:
        """What goes in at that time, one mark a drop; nothing at another row's times."""
        return tuple(mark for mark in self.marks if time in mark.times)

    def holds_on(self, day: date) -> bool:
        return self.start <= day and not self.is_over(day)

    def is_over(self, day: date) -> bool:
        """Whether all its days lie before ``day``."""
        return self.end is not None and self.end < day


@dataclass(frozen=True)
class VisitRow:
    """A visit on its day, with the new bottles that it hands over."""

    trip: Trip
    bottles: tuple[Bottle, ...]


@dataclass(frozen=True)
class CourseTable:
    """``times`` are the columns: the clock times of all rows, in order of the day.

    ``rows`` are in order of dates, a visit after the row of days that begins on its day; what goes on
    past the plan comes last. ``courses`` has every course of the plan once, also one without drops.
    """

    times: tuple[str, ...]
    rows: tuple[DaysRow | VisitRow, ...]
    courses: tuple[CourseRow, ...]

    @property
    def days(self) -> tuple[DaysRow, ...]:
        return tuple(row for row in self.rows if isinstance(row, DaysRow))

    @property
    def visits(self) -> tuple[VisitRow, ...]:
        return tuple(row for row in self.rows if isinstance(row, VisitRow))

    def on(self, day: date) -> DaysRow | None:
        """The row in force on ``day``."""
        return next((row for row in self.days if row.holds_on(day)), None)

    def course(self, key: str) -> CourseRow:
        return next(row for row in self.courses if row.course.key == key)


def course_table(plan: CarePlan, going_on: Collection[str] | None = None) -> CourseTable:
    """The plan as one table. ``going_on``: the courses that do not end with it (None: as the plan has it)."""
    endless = {c.key for c in plan.courses if c.goes_on} if going_on is None else frozenset(going_on)
    days = tuple(_days(plan, endless))
    came = (trip for trip in plan.trips if trip.status not in NOT_COMING)
    visits = (VisitRow(t, tuple(b for b in plan.supply if b.handed_over_trip == t.number)) for t in came)
    return CourseTable(
        times=_columns(days),
        rows=tuple(sorted((*days, *visits), key=_place)),
        courses=tuple(course_row(plan, course, course.key in endless) for course in plan.courses),
    )


def _columns(days: Sequence[DaysRow]) -> tuple[str, ...]:
    """All clock times, those after midnight behind: a row tells them by standing after a later time."""
    every = {time for row in days for time in row.times}
    late = {time for row in days for i, time in enumerate(row.times) if max(row.times[:i], default="") > time}
    return (*sorted(every - late), *sorted(late))


def _place(row: DaysRow | VisitRow) -> tuple[bool, date, bool, int]:
    if isinstance(row, VisitRow):
        return False, row.trip.date, True, row.trip.number
    return row.end is None, row.start, False, 0


def _days(plan: CarePlan, endless: Collection[str]) -> Iterator[DaysRow]:
    """The runs of days of the plan, then without an end what goes on after them."""
    runs = tuple(_runs(plan))
    last = max(runs, key=lambda phase: phase.end, default=None)
    for phase in runs:
        if phase is last and phase.doses and all(dose.course in endless for dose in phase.doses):
            yield _row(plan, phase, None)
            return
        yield _row(plan, phase, phase.end)
    on = tuple(dose for dose in last.doses if dose.course in endless) if last else ()
    if last and on:
        times = tuple(time for time in last.times if any(time in dose.times for dose in on))
        after = last.end + timedelta(days=1)
        yield _row(plan, DayPhase(start=after, end=after, times=times, doses=on), None)


def _runs(plan: CarePlan) -> Iterator[DayPhase]:
    """The phases of the rounds, parted where a dose by mouth changes: its rounds may stay as they are."""
    for phase in plan.rounds:
        by_mouth = (c for dose in phase.doses if (c := plan.course(dose.course)).eye is None)
        changes = {step.start for course in by_mouth for step in course.steps}
        starts = (phase.start, *sorted(day for day in changes if phase.start < day <= phase.end))
        ends = (*(day - timedelta(days=1) for day in starts[1:]), phase.end)
        for start, end in zip(starts, ends, strict=True):
            yield phase.model_copy(update={"start": start, "end": end})


def _row(plan: CarePlan, phase: DayPhase, end: date | None) -> DaysRow:
    marks = tuple(_mark(plan.course(dose.course), dose, phase.start, end) for dose in phase.doses)
    return DaysRow(phase.start, end, phase.times, marks)


def _mark(course: Course, dose: Dose, start: date, end: date | None) -> BottleMark:
    goes_on = end is None and course.steps
    return BottleMark(course, course.steps[-1] if goes_on else course.step_on(start), dose.times)


def order_of_use(course: Course, medicine: Medicine | None) -> tuple[int, int]:
    """The place of a bottle within a round: right eye, left, by mouth; then solution before ointment."""
    place = BOTH_EYES.index(course.eye) if course.eye else len(BOTH_EYES)
    return place, medicine.order if medicine else 0


def course_row(plan: CarePlan, course: Course, goes_on: bool) -> CourseRow:
    """A course by its steps, with its times and bottles in ``plan``."""
    last = len(course.steps) - 1
    steps = tuple(
        TimedStep(
            step=step,
            times=_times(plan.rounds, course.key, step),
            since=None if course.from_before and i == 0 else step.start,
            until=None if goes_on and i == last else step.end,
        )
        for i, step in enumerate(course.steps)
    )
    bottles = tuple(bottle for bottle in plan.supply if bottle.course == course.key)
    return CourseRow(course, steps, goes_on, bottles)


def _times(rounds: Sequence[DayPhase], key: str, step: Step) -> tuple[str, ...]:
    phases = (phase for phase in rounds if phase.start <= step.end and step.start <= phase.end)
    return next((dose.times for phase in phases for dose in phase.doses if dose.course == key), ())
