"""By mouth: a dose is mg a day and tablets a time; a tablet is taken whole or, where it can be, halved.

Tablets, and single doses of drops, are handed over by number: nothing is opened and thrown away later.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from followup.clinical.careplan import Course, Step, Trip
from followup.clinical.day_plan import Bottle, halves
from followup.clinical.english import counted
from followup.clinical.plan.supply import hands_over
from followup.clinical.protocol.formulary import Medicine


def tablets_a_time(mg: float, count: int, medicine: Medicine) -> float | None:
    """How many tablets each of ``count`` times make ``mg`` a day; None where no whole or half ones do.

    A capsule is never halved.
    """
    if medicine.tablet_mg is None:
        return None
    halves = 2 * mg / (count * medicine.tablet_mg)
    whole = round(halves)
    possible = whole >= 1 and abs(halves - whole) < 1e-9 and (medicine.form == "tablet" or whole % 2 == 0)
    return whole / 2 if possible else None


def dosed(course: Course, medicine: Medicine) -> Course:
    """The course with mg a day and tablets a time on every step; one for the eye is left as it is.

    What the plan itself starts is one tablet a time; what the record tells is never guessed.
    """
    if course.eye is not None or medicine.tablet_mg is None:
        return course
    return course.model_copy(update={"steps": tuple(_dosed(step, course, medicine) for step in course.steps)})


def _dosed(step: Step, course: Course, medicine: Medicine) -> Step:
    if step.mg is not None:
        return step.model_copy(update={"tablets": tablets_a_time(step.mg, step.count, medicine)})
    if course.from_before:
        return step
    return step.model_copy(update={"tablets": 1, "mg": step.count * (medicine.tablet_mg or 0)})


def number_of_tablets(tablets: float) -> str:
    """Such as "half a tablet", "1 tablet", "1½ tablets"."""
    if tablets == 0.5:
        return "half a tablet"
    return f"{halves(tablets)} {'tablet' if tablets == 1 else 'tablets'}"


def number_of_units(units: float, medicine: Medicine | None) -> str:
    """So many tablets, capsules or single doses."""
    if medicine is not None and medicine.single_dose:
        return counted(int(units), "single dose", "single doses")
    words = number_of_tablets(units)
    return words.replace("tablet", "capsule") if medicine and medicine.form == "capsule" else words


def dose_words(step: Step, medicine: Medicine | None, times: Sequence[str] = ()) -> str:
    """Such as "20 mg a day: 4 tablets of 5 mg in the morning"; for drops "4 a day"."""
    if step.mg is None or step.tablets is None or medicine is None:
        dose = f", {step.mg:g} mg in all" if step.mg is not None else ""
        return f"{step.count} a day{dose}"
    each = number_of_tablets(step.tablets)
    if medicine.form == "capsule":
        each = each.replace("tablet", "capsule")
    when = _part_of_the_day(times[0]) if len(times) == 1 else f"{step.count} times a day"
    if step.count == 1 and len(times) != 1:
        when = "once a day"
    return f"{step.mg:g} mg a day: {each} of {medicine.tablet_mg:g} mg {when}"


def _part_of_the_day(clock: str) -> str:
    hour = int(clock[:2])
    if 4 <= hour < 12:
        return "in the morning"
    if 12 <= hour < 18:
        return "in the afternoon"
    return "in the evening" if hour >= 18 else "at night"


def unit_supply(
    course: Course, trips: Sequence[Trip], today: date, *, rounds_more: int = 0
) -> tuple[Bottle, ...]:
    """The tablets or single doses of an active course by the visits that hand them over, the first today.

    Each hand-over lasts to the last day on which the visit after the next may be, so that no missed
    visit ends the tablets suddenly; the last two hand over the rest. ``rounds_more``: of the first day.
    """
    if course.state != "active" or course.last_day is None:
        return ()
    handing: list[tuple[date, int | None]] = [(today, None)]
    ends: list[date] = []
    for trip in sorted((t for t in trips if hands_over(t, today)), key=lambda t: (t.date, t.number)):
        handing.append((trip.date, trip.number))
        ends.append(max(trip.window_end, *ends[-1:]) if ends else trip.window_end)
    made: list[Bottle] = []
    begin = min(step.start for step in course.steps)
    for (day, number), end in zip(handing, [*ends[1:], course.last_day, course.last_day], strict=False):
        last = min(end, course.last_day)
        units = _units(course, begin, last) + (0 if made else rounds_more)
        if units:
            made.append(
                Bottle(
                    course=course.key,
                    number=len(made) + 1,
                    opened=begin,
                    discard=last,
                    drops=0,
                    units=units,
                    handed_over=day,
                    handed_over_trip=number,
                )
            )
        begin = max(begin, last + timedelta(days=1))
    return tuple(made)


def _units(course: Course, first: date, last: date) -> float:
    """How many tablets or single doses the course takes on these days, both included."""
    return sum(
        step.count
        * ((step.tablets or 0) if course.eye is None else 1)
        * max(0, (min(step.end, last) - max(step.start, first)).days + 1)
        for step in course.steps
    )
