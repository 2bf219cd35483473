"""What is new since the sheet that the patient has now: one sentence each, said first."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from followup.clinical.careplan import CarePlan, Course
from followup.clinical.protocol.formulary import label_of
from followup.clinical.statuses import CAME
from followup.sheets.inputs import SheetInputs
from followup.sheets.medicines import times_a_day
from followup.sheets.model import SheetSection
from followup.timing.calendar import every_day


def changes(inputs: SheetInputs, previous: CarePlan | None) -> SheetSection | None:
    """The changes from ``previous`` on, or None where nothing of the patient's day changed."""
    if previous is None:
        return None
    lines = (*_course_changes(inputs, previous), *_visit_changes(inputs, previous))
    _ = inputs.words.gettext
    return SheetSection(heading=_("What is new"), lines=lines) if lines else None


def _course_changes(inputs: SheetInputs, previous: CarePlan) -> Iterator[str]:
    _ = inputs.words.gettext
    before = {c.key: c for c in previous.courses}
    for course in inputs.courses("active"):
        values = inputs.named(course)
        old = before.get(course.key)
        if old is None or old.state != "active":
            yield _("%(eye)s, %(medicine)s: start it now.") % values
        elif old.medicine != course.medicine:
            values["old"] = inputs.number(label_of(old.medicine, inputs.formulary))
            yield _("%(eye)s: use %(medicine)s instead of %(old)s.") % values
        elif (first := _first_change(inputs, old, course)) is not None:
            values["day"] = inputs.day(first)
            values["times"] = times_a_day(inputs, course.count_on(first))
            yield _("%(eye)s, %(medicine)s: from %(day)s on %(times)s.") % values
    yield from _stopped(inputs, before)


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


def _stopped(inputs: SheetInputs, before: dict[str, Course]) -> Iterator[str]:
    _ = inputs.words.gettext
    now = {c.key: c for c in inputs.plan.courses}
    for key, old in before.items():
        new = now.get(key)
        if old.state != "active" or not old.last_day:
            continue
        if old.last_day < inputs.printed_on and not old.from_before:
            continue
        name = inputs.formulary.get(old.medicine)
        values = {
            "medicine": inputs.label(name) if name else inputs.number(old.medicine),
            "eye": inputs.eye(old.eye),
        }
        if new is None or new.state != "active":
            yield _("%(eye)s, %(medicine)s: do not use it any more.") % values
        elif inputs.printed_on <= old.last_day and (last := inputs.last_day(new)) and last < old.last_day:
            yield _("%(eye)s, %(medicine)s: the new last day is %(day)s.") % {
                **values,
                "day": inputs.day(last),
            }


def _visit_changes(inputs: SheetInputs, previous: CarePlan) -> Iterator[str]:
    _ = inputs.words.gettext
    old, new = ([t.date for t in p.to_come(inputs.printed_on)] for p in (previous, inputs.plan))
    for day in new:
        if day not in old:
            yield _("New visit on %(day)s.") % {"day": inputs.day(day)}
    # A visit of this very day that has taken place is not called off.
    kept = {t.date for t in inputs.plan.trips if t.status in CAME}
    for day in old:
        if day not in new and day not in kept:
            yield _("No visit any more on %(day)s.") % {"day": inputs.day(day)}
