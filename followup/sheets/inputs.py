"""Everything that one sheet is written from, and the small phrases that every part of it uses."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from followup.clinical.aftercare import Aftercare
from followup.clinical.careplan import CarePlan, Course
from followup.clinical.formulary import Medicine
from followup.clinical.record import Eye, Record
from followup.errors import FollowupError
from followup.language import direction
from followup.language.catalogues import Translator
from followup.language.dates import clock, long_date, native_date
from followup.language.digits import native_digits
from followup.sheets.model import Bottle
from followup.sheets.options import SheetOptions
from followup.sheets.wording import EYES

_SIDES: tuple[Eye, ...] = ("right", "left")


@dataclass(frozen=True)
class SheetInputs:
    """The plan, the record and the clinic's data, with the translator they are told through.

    ``draft_words``: nobody of the clinic has read the translation yet.
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

    @property
    def eyes(self) -> tuple[Eye, ...]:
        """The operated eyes, right before left."""
        operated = {operation.eye for operation in self.record.operations}
        return tuple(side for side in _SIDES if side in operated)

    def medicine(self, course: Course) -> Medicine:
        found = self.formulary.get(course.medicine)
        if found is None:
            raise FollowupError(
                "sheet.medicine",
                f"the medicine {course.medicine} of the course {course.key} is not in the formulary",
                fix="add it to the formulary",
            )
        return found

    def courses(self, *states: str) -> tuple[Course, ...]:
        """Courses in these states that are not over, in the order of use within a round."""
        chosen = [
            c
            for c in self.plan.courses
            if c.state in states and (c.last_day is None or c.last_day >= self.printed_on)
        ]
        return tuple(sorted(chosen, key=self.order))

    def order(self, course: Course) -> tuple[int, int]:
        """Right eye before left before mouth; then solution, suspension, gel, ointment."""
        place = _SIDES.index(course.eye) if course.eye else len(_SIDES)
        return place, self.medicine(course).order

    def say(self, message: str) -> str:
        """A message of a table (see ``wording``), translated."""
        return self.words.gettext(message)

    def day(self, day: date) -> str:
        return long_date(day, self.words.language)

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

    def bottle(self, course: Course) -> Bottle:
        medicine = self.medicine(course)
        by_mouth = medicine.route == "mouth"
        return Bottle(
            letter=medicine.mark_letter,
            name=self.number(medicine.label),
            eye=self.eye(course.eye),
            kind="tablet" if by_mouth else "ointment" if medicine.form in ("gel", "ointment") else "drop",
            side=course.eye,
            cap=medicine.cap if self.cap_colours else None,
        )


def sentences(*lines: str | None) -> tuple[str, ...]:
    """The lines that there are."""
    return tuple(line for line in lines if line)


def once(lines: Iterable[str]) -> tuple[str, ...]:
    """Each line once, in order."""
    return tuple(dict.fromkeys(lines))
