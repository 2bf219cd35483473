"""What is new since the sheet that the patient has now: three lines at most, said first."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from followup.clinical.careplan import CarePlan, Course
from followup.clinical.protocol.formulary import label_of
from followup.sheets.inputs import SheetInputs
from followup.sheets.medicines import times_a_day
from followup.sheets.wording import STARTED, STOPPED
from followup.timing.calendar import every_day

MOST_LINES = 3  # what a patient can take in; every new row of the table is marked besides

_Named = dict[str, str]


def changes(inputs: SheetInputs, previous: CarePlan | None) -> tuple[str, ...]:
    """What changed in the drops since ``previous``, what may harm first; the table marks the rest."""
    if previous is None:
        return ()
    _ = inputs.words.gettext
    old = {c.key: c for c in previous.courses if c.state == "active"}
    stop, start = (
        _("%(eye)s, %(medicine)s: do not use it any more."),
        _("%(eye)s, %(medicine)s: start it now."),
    )
    lines = (
        *_together(inputs, stop, STOPPED, _stopped(inputs, old)),
        *_replaced(inputs, old),
        *_together(inputs, start, STARTED, _started(inputs, old)),
        *_ended(inputs, old),
        *_other_counts(inputs, old),
    )
    return lines[:MOST_LINES]


def _together(inputs: SheetInputs, alone: str, several: str, bottles: Iterator[_Named]) -> Iterator[str]:
    """One sentence for all of them."""
    found = list(bottles)
    if len(found) == 1:
        yield alone % found[0]
    elif found:
        names = (f"{named['medicine']} ({named['eye']})" for named in found)
        yield inputs.say(several) % {"bottles": ", ".join(names)}


def _stopped(inputs: SheetInputs, before: dict[str, Course]) -> Iterator[_Named]:
    """What the patient used until now and stops."""
    now = {c.key for c in inputs.plan.courses if c.state == "active"}
    for key, old in before.items():
        if key not in now and _in_use(inputs, old):
            yield _named(inputs, old)


def _started(inputs: SheetInputs, before: dict[str, Course]) -> Iterator[_Named]:
    return (inputs.named(course) for course in inputs.courses("active") if course.key not in before)


def _replaced(inputs: SheetInputs, before: dict[str, Course]) -> Iterator[str]:
    for course in inputs.courses("active"):
        old = before.get(course.key)
        if old is not None and old.medicine != course.medicine:
            yield inputs.words.gettext("%(eye)s: use %(medicine)s instead of %(old)s.") % {
                **inputs.named(course),
                "old": inputs.number(label_of(old.medicine, inputs.formulary)),
            }


def _ended(inputs: SheetInputs, before: dict[str, Course]) -> Iterator[str]:
    """What ends before the day that the patient was told."""
    now = {c.key: c for c in inputs.plan.courses if c.state == "active"}
    for key, old in before.items():
        new = now.get(key)
        if new is None or old.last_day is None or old.last_day < inputs.printed_on:
            continue
        if (last := inputs.last_day(new)) and last < old.last_day:
            yield inputs.words.gettext("%(eye)s, %(medicine)s: the new last day is %(day)s.") % {
                **_named(inputs, old),
                "day": inputs.day(last),
            }


def _other_counts(inputs: SheetInputs, before: dict[str, Course]) -> Iterator[str]:
    for course in inputs.courses("active"):
        old = before.get(course.key)
        if old is None or old.medicine != course.medicine:
            continue
        if (first := _first_change(inputs, old, course)) is not None:
            yield inputs.words.gettext("%(eye)s, %(medicine)s: from %(day)s on %(times)s.") % {
                **inputs.named(course),
                "day": inputs.day(first),
                "times": times_a_day(inputs, course.count_on(first)),
            }


def _first_change(inputs: SheetInputs, old: Course, new: Course) -> date | None:
    """The first day from today on with another count that is not nought (an earlier end is a stop).

    A medicine from before the operation stands in a plan as far as the plan speaks; what matters of
    it is what both plans speak of.
    """
    last = new.last_day
    if last is None:
        return None
    if new.from_before and old.last_day:
        last = min(last, old.last_day)
    days = every_day(inputs.printed_on, last)
    return next((d for d in days if new.count_on(d) != old.count_on(d) and new.count_on(d)), None)


def _in_use(inputs: SheetInputs, old: Course) -> bool:
    """Whether the sheet before still has the patient use it today or later."""
    return old.last_day is not None and (old.from_before or old.last_day >= inputs.printed_on)


def _named(inputs: SheetInputs, course: Course) -> _Named:
    """Medicine and eye, also of a medicine that the formulary no longer has."""
    known = inputs.formulary.get(course.medicine)
    name = inputs.label(known) if known else inputs.number(course.medicine)
    return {"medicine": name, "eye": inputs.eye(course.eye)}
