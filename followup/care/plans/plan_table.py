"""The one table of a plan as the pages and the command draw it: its lines, columns and letters, no words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from followup.clinical.careplan import CarePlan, Course, Trip
from followup.clinical.day_plan import Bottle
from followup.clinical.plan.course_table import (
    MOST_ROUNDS,
    BottleMark,
    CourseTable,
    DaysRow,
    TimedStep,
    VisitRow,
    course_table,
    order_of_use,
)
from followup.clinical.protocol.formulary import Medicine, label_of
from followup.clinical.record.base import BOTH_EYES
from followup.sheets.letters import letters

# As many times in a row of words are listed; more are told by the hours between them, where they can be.
MOST_LISTED = 4


@dataclass(frozen=True)
class PlanTable:
    """The rows of a plan with what every drawing of them needs.

    ``letters`` are those of the medicines, the same as on the patient's sheets. ``most`` rounds a day are
    columns.
    """

    plan: CarePlan
    formulary: Mapping[str, Medicine]
    letters: Mapping[str, str]
    most: int = MOST_ROUNDS

    @cached_property
    def drawn(self) -> CourseTable:
        return course_table(self.plan)

    @property
    def rows(self) -> tuple[DaysRow | VisitRow, ...]:
        return self.drawn.rows

    @property
    def times(self) -> tuple[str, ...]:
        """The columns: the clock times of all rows but those in words."""
        shown = {time for row in self.drawn.days if not self.in_words(row) for time in row.times}
        return tuple(time for time in self.drawn.times if time in shown)

    @property
    def missed(self) -> tuple[Trip, ...]:
        """The visits to which the patient did not come; no row has them."""
        return tuple(trip for trip in self.plan.trips if trip.status == "noshow")

    @property
    def both_eyes(self) -> bool:
        """Whether each row of days has a line per eye."""
        return {*BOTH_EYES} <= {mark.course.eye for row in self.drawn.days for mark in row.marks}

    @property
    def courses(self) -> tuple[Course, ...]:
        """Those of the rows, for the legend of their letters."""
        found = {mark.course.key: mark.course for row in self.drawn.days for mark in row.marks}
        return tuple(sorted(found.values(), key=self._order))

    def in_words(self, row: DaysRow) -> bool:
        """Whether the row has more rounds a day than columns could show."""
        return len(row.times) > self.most

    def lines(self, row: DaysRow) -> Iterator[DaysRow]:
        """The row with its marks in the order of use; one for each eye, and by mouth, in a plan of both."""
        marks = sorted(row.marks, key=lambda mark: self._order(mark.course))
        if not self.both_eyes:
            yield replace(row, marks=tuple(marks))
            return
        for eye in dict.fromkeys(mark.course.eye for mark in marks):
            yield replace(row, marks=tuple(mark for mark in marks if mark.course.eye == eye))

    def _order(self, course: Course) -> tuple[int, int]:
        return order_of_use(course, self.formulary.get(course.medicine))

    def untold(self, course: Course) -> tuple[TimedStep, ...]:
        """The steps that no row tells: of a course without rounds, or from before the plan's day."""
        told = [mark.step for row in self.drawn.days for mark in row.marks if mark.course == course]
        lines = self.drawn.course(course.key).steps
        return tuple(ln for ln in lines if ln.step not in told or not (course.eye or ln.step.tablets))

    def hours(self, mark: BottleMark) -> int | None:
        """The hours between the times of a mark that is told in words; None where its times are listed."""
        return mark.every if len(mark.times) > MOST_LISTED else None

    def is_drop(self, course: Course) -> bool:
        """Whether its bottle gives drops, and no ointment or gel."""
        known = self.formulary.get(course.medicine)
        return course.eye is not None and (known is None or known.form not in ("gel", "ointment"))

    def bottles(self, course: Course) -> tuple[Bottle, ...]:
        """What is handed over for a course."""
        return self.drawn.course(course.key).bottles

    def letter(self, course: Course) -> str:
        """The letter of a course's bottles; "?" where the formulary does not know the medicine."""
        return self.letters.get(course.medicine, "?")

    def medicine(self, course: Course) -> str:
        """Name and strength."""
        return label_of(course.medicine, self.formulary)


def plan_table(
    plan: CarePlan, formulary: Mapping[str, Medicine], earlier: Iterable[CarePlan] = ()
) -> PlanTable:
    """The table of ``plan``; ``earlier`` are the plans of the sheets that the patient had, oldest first."""
    return PlanTable(plan, formulary, letters((*earlier, plan), formulary))
