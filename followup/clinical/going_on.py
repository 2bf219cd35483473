"""Medicines from before the operation: the plan stops speaking of them, the patient does not stop.

A plan carries them as far as it reaches. Only the record can give such a medicine a last day, so
nothing on a sheet may let the plan's own end look like the medicine's.
"""

from __future__ import annotations

from datetime import date

from followup.clinical.careplan import Course
from followup.clinical.record import InUse, Record


def last_day_told(course: Course, record: Record) -> date | None:
    """The day after which the patient stops; None where nobody has said that the medicine ends."""
    if not course.from_before:
        return course.last_day
    ends = [entry.until for entry in record.in_use if entry.continues and _is_of(entry, course)]
    if course.last_day in ends:
        return course.last_day
    told = [day for day in ends if day]
    return max(told) if told and len(told) == len(ends) else None


def goes_on(course: Course, record: Record) -> bool:
    """Whether the medicine is used on after the last day that the plan speaks of."""
    told = last_day_told(course, record)
    return course.from_before and (told is None or (course.last_day is not None and told > course.last_day))


def _is_of(entry: InUse, course: Course) -> bool:
    eye = None if entry.route == "mouth" else entry.eye
    return entry.medicine == course.medicine and (eye == course.eye or (eye == "both" and bool(course.eye)))
