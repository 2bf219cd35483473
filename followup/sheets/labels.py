"""Labels for bottles, in the patient's language, by the same words, letters and marks as the sheet."""

from __future__ import annotations

from collections.abc import Iterable

from followup.clinical.careplan import Course
from followup.clinical.day_plan import Bottle
from followup.language.dates import row_day, row_days
from followup.sheets.head import ClinicInfo, marks
from followup.sheets.inputs import SheetInputs
from followup.sheets.medicines import FROM_ON, tablets, times_a_day
from followup.sheets.model import BottleLabel, LabelLine, TextSetting
from followup.sheets.wording import BOTTLE_HEADS

_OPENED, _DISCARD = BOTTLE_HEADS[1:3]


def label(inputs: SheetInputs, clinic: ClinicInfo, bottle: Bottle) -> BottleLabel:
    """The label of one bottle of a plan in force.

    How often a day is told with the days for which it holds: a taper goes on, and the sheet says how.
    """
    course, language = inputs.plan.course(bottle.course), inputs.words.language
    days = [LabelLine(head=inputs.say(_OPENED), words=row_day(bottle.opened, language))]
    if bottle.units is None:
        ends = inputs.last_day(course)
        discard = min(bottle.discard, ends) if ends else bottle.discard
        days.append(LabelLine(head=inputs.say(_DISCARD), words=row_day(discard, language)))
    return BottleLabel(
        setting=TextSetting.of(language),
        name=inputs.name(inputs.record.patient.name),
        code=inputs.number(inputs.record.patient.code),
        bottle=inputs.bottle(course),
        use=tuple(_use(inputs, course, bottle)),
        days=tuple(days),
        clinic=inputs.name(clinic.name),
        marks=marks(inputs, clinic),
    )


def _use(inputs: SheetInputs, course: Course, bottle: Bottle) -> Iterable[str]:
    _ = inputs.words.gettext
    if course.as_needed:
        yield _("Do not use it every day. Use it only if the clinic tells you to.")
        return
    step = course.step_on(bottle.opened) or course.steps[0]
    start = max(step.start, bottle.opened)
    if step == course.steps[-1] and inputs.goes_on(course):
        yield inputs.say(FROM_ON) % {"day": row_day(start, inputs.words.language)}
    else:
        yield row_days(start, max(step.end, start), inputs.words.language)
    yield times_a_day(inputs, step.count)
    if step.tablets is not None:
        yield tablets(inputs, inputs.medicine(course), step.tablets)
