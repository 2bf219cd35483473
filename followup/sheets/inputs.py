"""Everything that one sheet is written from, and the small phrases that every part of it uses."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from followup.clinical.careplan import CarePlan, Course
from followup.clinical.going_on import goes_on, last_day_told
from followup.clinical.plan.course_table import BottleMark, CourseTable, DaysRow, course_table, order_of_use
from followup.clinical.protocol.aftercare import Aftercare, Holding
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.record import Eye, Record
from followup.clinical.record.base import BOTH_EYES
from followup.errors import FollowupError
from followup.language import direction
from followup.language.catalogues import Translator
from followup.language.dates import clock, hour_words, long_date, native_date, opening, spoken
from followup.language.digits import native_digits
from followup.said import say
from followup.sheets.letters import letters
from followup.sheets.model import MedicineForm, NamedBottle
from followup.sheets.options import SheetOptions
from followup.sheets.wording import DUE, EYES


@dataclass(frozen=True)
class SheetInputs:
    """The plan, the record and the clinic's data, with the translator they are told through.

    ``draft_words``: nobody of the clinic has read the translation yet. ``earlier``: the plans of the sheets
    that the patient had before, oldest first.
    """

    plan: CarePlan
    record: Record
    formulary: Mapping[str, Medicine]
    aftercare: Aftercare
    words: Translator
    printed_on: date
    options: SheetOptions
    cap_colours: bool = False
    draft_words: bool = False
    earlier: tuple[CarePlan, ...] = ()

    @property
    def eyes(self) -> tuple[Eye, ...]:
        """The operated eyes, right before left."""
        operated = {operation.eye for operation in self.record.operations}
        return tuple(side for side in BOTH_EYES if side in operated)

    @cached_property
    def holding(self) -> tuple[Holding, ...]:
        """The protocol's sentences that hold on the day of printing."""
        return tuple(self.aftercare.holding(self.plan, self.record, self.formulary, self.printed_on))

    def medicine(self, course: Course) -> Medicine:
        found = self.formulary.get(course.medicine)
        if found is None:
            raise FollowupError(
                "sheet.medicine",
                say(
                    "the medicine {medicine} of the course {key} is not in the formulary",
                    medicine=course.medicine,
                    key=course.key,
                ),
                fix=say("add it to the formulary"),
            )
        return found

    def courses(self, *states: str) -> tuple[Course, ...]:
        """Courses in these states that are not over, in the order of use within a round."""
        chosen = [c for c in self.plan.courses if c.state in states and not self._over(c)]
        return tuple(sorted(chosen, key=self.order))

    def drops(self, *states: str) -> tuple[Course, ...]:
        """Those of these courses that go into an eye: what is said of drops and bottles is said of them."""
        return tuple(c for c in self.courses(*states) if c.eye)

    def _over(self, course: Course) -> bool:
        if course.from_before and not course.steps:
            return True
        if course.state == "held":
            return False  # its days are not counted yet: it waits until somebody decides
        last = self.last_day(course)
        return last is not None and last < self.printed_on

    def last_day(self, course: Course) -> date | None:
        """The day after which the patient stops, which is not always where the plan ends."""
        return last_day_told(course, self.record)

    def goes_on(self, course: Course) -> bool:
        """Whether the medicine is used on after the last day that the plan speaks of."""
        return goes_on(course, self.record)

    @cached_property
    def table(self) -> CourseTable:
        """The plan as one table, past its end with what the patient does not stop there."""
        return course_table(self.plan, [c.key for c in self.courses("active") if self.goes_on(c)])

    @property
    def rows(self) -> tuple[DaysRow, ...]:
        """The rounds of every run of days that is not over."""
        return tuple(row for row in self.table.days if not row.is_over(self.printed_on))

    def order(self, course: Course) -> tuple[int, int]:
        """Right eye before left before mouth; then solution, suspension, gel, ointment."""
        return order_of_use(course, self.medicine(course))

    def in_order(self, marks: Iterable[BottleMark]) -> list[BottleMark]:
        """The bottles of a row of days in the order of use within a round."""
        return sorted(marks, key=lambda mark: self.order(mark.course))

    def label(self, medicine: Medicine) -> str:
        """Name and strength; a tablet's strength is said as such, so that it is never read as a dose."""
        words = {"name": medicine.name, "strength": self.number(medicine.strength)}
        if medicine.form == "tablet":
            # Translators: the name of a medicine, then how much is in one tablet, such as 5 mg.
            return self.words.gettext("%(name)s, tablets of %(strength)s") % words
        if medicine.single_dose:
            # Translators: a drop in small containers that are each used once: name and strength.
            return self.words.gettext("%(medicine)s, single doses") % {
                "medicine": self.number(f"{medicine.name} {medicine.strength}")
            }
        if medicine.form == "capsule":
            # Translators: the name of a medicine, then how much is in one capsule, such as 250 mg.
            return self.words.gettext("%(name)s, capsules of %(strength)s") % words
        return self.number(medicine.label)

    def named(self, course: Course) -> dict[str, str]:
        """The medicine and the eye of a course, for a sentence that names both."""
        return {"medicine": self.label(self.medicine(course)), "eye": self.eye(course.eye)}

    def say(self, message: str) -> str:
        """A message of a table (see ``wording``), translated."""
        return self.words.gettext(message)

    def day(self, day: date) -> str:
        return long_date(day, self.words.language)

    def opening_day(self, day: date) -> str:
        """The day where it stands at the beginning of a line."""
        return opening(self.day(day))

    def spoken(self, time: str) -> str | None:
        return spoken(time, self.words)

    def hour(self, time: str) -> str:
        """A clock time in a sentence."""
        return hour_words(time, self.words)

    def time(self, time: str) -> str:
        return clock(time, self.words, rise=self.record.patient.waking.rise)

    def native(self, text: str) -> str | None:
        """``text`` in the language's own digits, where they are wanted and there are such."""
        return native_digits(text, self.words.language) if self.options.native_digits else None

    def native_day(self, day: date) -> str | None:
        return native_date(day, self.words.language) if self.options.native_digits else None

    def number(self, text: str) -> str:
        return direction.number(text, self.words.language)

    def name(self, text: str) -> str:
        return direction.name(direction.without_marks(text), self.words.language)

    def eye(self, eye: Eye | None) -> str:
        """The eye in words; by mouth where there is none."""
        if eye is None:
            return self.words.gettext("By mouth")
        return self.say(EYES[eye])

    @cached_property
    def _marks(self) -> dict[str, str]:
        return letters((*self.earlier, self.plan), self.formulary)

    def bottle(self, course: Course) -> NamedBottle:
        medicine = self.medicine(course)
        by_mouth = medicine.route == "mouth"
        kind: MedicineForm = (
            "tablet" if by_mouth else "ointment" if medicine.form in ("gel", "ointment") else "drop"
        )
        name, eye = self.label(medicine), self.eye(course.eye)
        return NamedBottle(
            letter=self._marks[medicine.id],
            name=name,
            eye=eye,
            kind=kind,
            due=self.say(DUE[kind]) % {"medicine": name, "eye": eye},
            side=course.eye,
            cap=medicine.cap if self.cap_colours else None,
        )


def sentences(*lines: str | None) -> tuple[str, ...]:
    """The lines that there are."""
    return tuple(line for line in lines if line)


def once(lines: Iterable[str]) -> tuple[str, ...]:
    """Each line once, in order."""
    return tuple(dict.fromkeys(lines))
