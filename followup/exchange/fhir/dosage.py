"""A course as dosage instructions: on which days, at which clock times, how much each time.

Days are those of the calendar. A round after midnight belongs to the waking day before, so its instruction
begins and ends a day later than the others of its step.

Where clock times are known they stand alone: FHIR R4 says of ``timeOfDay`` that ``when``, ``frequency`` and
``period`` can't be used beside it. A course that waits has no days yet; its steps have their lengths.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import groupby

from followup.clinical.careplan import Course, Step
from followup.clinical.english import day_words, listed
from followup.clinical.plan.course_table import CourseTable
from followup.clinical.protocol.formulary import Medicine
from followup.exchange.fhir.values import Json, amount, concept, day, eye_site, only, words


@dataclass(frozen=True)
class Run:
    """Days on which a course goes in at the same times; ``start`` and ``end`` None: nobody ordered one."""

    step: Step
    start: date | None
    end: date | None
    times: tuple[str, ...]

    def follows(self, other: Run) -> bool:
        """Whether it goes on with the same, the day after the other."""
        same = (other.step, other.times) == (self.step, self.times)
        return same and other.end is not None and self.start == other.end + timedelta(days=1)


def dosages(course: Course, table: CourseTable, formulary: Mapping[str, Medicine], rise: str) -> list[Json]:
    """The instructions of ``course`` in order; ``rise`` is when the patient gets up ("06:00").

    Instructions of one ``sequence`` hold at the same time. A course that was stopped has none.
    """
    if course.state == "stopped":
        return []
    medicine = formulary.get(course.medicine)
    given = _given(course)
    runs = list(_runs(course, table)) if course.state == "active" and not course.as_needed else []
    if not runs:
        steps = enumerate(course.steps, 1)
        return [given | _amount(course, step, medicine) | _by_count(course, step, at) for at, step in steps]
    return [
        given | _amount(course, run.step, medicine) | _at_times(course, run, at, late)
        for at, whole in enumerate(runs, 1)
        for run, late in _by_night(whole, rise)
    ]


def _runs(course: Course, table: CourseTable) -> Iterator[Run]:
    """What the table says of the course, neighbouring days with the same times together."""
    found: list[Run] = []
    for row in table.days:
        for mark in row.marks:
            if mark.course.key == course.key and mark.step is not None:
                run = Run(mark.step, row.start, row.end, mark.times)
                if found and run.follows(found[-1]):
                    found[-1] = replace(found[-1], end=run.end)
                else:
                    found.append(run)
    for at, run in enumerate(found):
        yield replace(run, start=None) if course.from_before and at == 0 else run


def _by_night(run: Run, rise: str) -> Iterator[tuple[Run, bool]]:
    """The times of the day, then those after midnight on the days they really are."""
    for late, times in groupby(sorted(run.times, key=lambda time: (time < rise, time)), lambda t: t < rise):
        days = timedelta(days=late)
        start, end = (value + days if value else None for value in (run.start, run.end))
        yield Run(run.step, start, end, tuple(times)), late


def _given(course: Course) -> Json:
    """Where it goes."""
    if course.eye is None:
        return {"route": concept("by mouth", "by-mouth")}
    return {"site": eye_site(course.eye), "route": concept("into the eye", "into-the-eye")}


def _amount(course: Course, step: Step, medicine: Medicine | None) -> Json:
    if course.eye is None:
        if step.tablets is not None:
            return {"doseAndRate": [{"doseQuantity": amount(step.tablets, "tablet")}]}
        return {"doseAndRate": [{"doseQuantity": amount(step.mg_each, "milligram")}]} if step.mg else {}
    if medicine is None:
        return {}
    kind = "application" if medicine.form in ("gel", "ointment") else "drop"
    return {"doseAndRate": [{"doseQuantity": amount(1, kind)}]}


def _at_times(course: Course, run: Run, sequence: int, late: bool) -> Json:
    bounds = only(start=run.start and day(run.start), end=run.end and day(run.end))
    repeat = only(boundsPeriod=bounds) | {"timeOfDay": [f"{time}:00" for time in run.times]}
    night = " (after midnight, of the evening before)" if late else ""
    said = f"{_each(course, run.step)} at {listed(run.times)}{night}{_from_to(run.start, run.end)}"
    return {"sequence": sequence, "text": words(said), "timing": {"repeat": repeat}}


def _by_count(course: Course, step: Step, sequence: int) -> Json:
    """A step without clock times: so often a day. One that waits begins when somebody lets it go."""
    held = course.state == "held"
    bounds: Json = (
        {"boundsDuration": amount(step.days, "day")}
        if held
        else only(boundsPeriod=only(start=_since(course, step), end=_until(course, step)))
    )
    length = f", for {step.days} days once it is released" if held else ""
    said = f"{_each(course, step)} {step.count} times a day{length}"
    found: Json = {
        "sequence": sequence,
        "text": words(said),
        "timing": {"repeat": bounds | {"frequency": step.count, "period": 1, "periodUnit": "d"}},
    }
    return found | ({"asNeededBoolean": True} if course.as_needed else {})


def _since(course: Course, step: Step) -> str | None:
    return None if course.from_before and step == course.steps[0] else day(step.start)


def _until(course: Course, step: Step) -> str | None:
    return None if course.goes_on and step == course.steps[-1] else day(step.end)


def _each(course: Course, step: Step) -> str:
    if course.eye is not None:
        return f"{course.eye} eye, once each time,"
    tablets = f"{step.tablets_figure} tablets each time" if step.tablets else "each time"
    return f"by mouth, {tablets}{f' ({step.mg:g} mg a day)' if step.mg else ''},"


def _from_to(start: date | None, end: date | None) -> str:
    since = f" from {day_words(start)}" if start else ", used already"
    return f"{since} to {day_words(end)}" if end else f"{since}, goes on"
