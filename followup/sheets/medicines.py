"""Each medicine on the sheet by dates: when it starts, goes down and ends, and its bottles."""

from __future__ import annotations

from collections.abc import Iterator

from followup.clinical.careplan import Course, Step
from followup.sheets.inputs import SheetInputs
from followup.sheets.model import BottleBlock, Section, TaperLine
from followup.sheets.wording import PURPOSES


def bottle_blocks(inputs: SheetInputs) -> tuple[BottleBlock, ...]:
    """Every running medicine by dates, with its bottles."""
    return tuple(_block(inputs, course) for course in inputs.courses("active"))


def _block(inputs: SheetInputs, course: Course) -> BottleBlock:
    left = [step for step in course.steps if step.end >= inputs.printed_on]
    return BottleBlock(
        bottle=inputs.bottle(course),
        purpose=inputs.say(PURPOSES[course.role]),
        lines=tuple(_taper_line(inputs, course, step) for step in left),
        notes=tuple(_notes(inputs, course)),
    )


def _taper_line(inputs: SheetInputs, course: Course, step: Step) -> TaperLine:
    _ = inputs.words.gettext
    start, end = inputs.day(step.start), inputs.day(step.end)
    dates = _("%(start)s to %(end)s") % {"start": start, "end": end} if step.days > 1 else start
    return TaperLine(dates=dates, dose=_dose(inputs, course, step), native=inputs.native(str(step.count)))


def _dose(inputs: SheetInputs, course: Course, step: Step) -> str:
    times = times_a_day(inputs, step.count)
    if step.mg is None:
        return times
    # Translators: amount of a tablet medicine for the whole day, then how it is spread.
    return inputs.words.gettext("%(mg)s mg in all, %(times)s") % {
        "mg": inputs.number(f"{step.mg:g}"),
        "times": times,
    }


def times_a_day(inputs: SheetInputs, count: int) -> str:
    # Translators: how often in a day; keep the number as digits in every form.
    text = inputs.words.ngettext("%(count)s time a day", "%(count)s times a day", count)
    return text % {"count": inputs.number(str(count))}


def _notes(inputs: SheetInputs, course: Course) -> Iterator[str]:
    _ = inputs.words.gettext
    medicine = inputs.medicine(course)
    if course.from_before:
        yield _("You use this already. Go on with it.")
    if course.as_needed:
        yield _("Do not use it every day. Use it only if the clinic tells you to.")
    if medicine.shake:
        yield _("Shake this bottle well before every drop.")
    if course.ordered_by:
        yield _("Ordered by %(name)s.") % {"name": inputs.name(course.ordered_by)}
    if course.role == "steroid tablet":
        yield _("Never stop steroid tablets suddenly.")
    yield from _supply(inputs, course)


def _supply(inputs: SheetInputs, course: Course) -> Iterator[str]:
    _ = inputs.words.gettext
    bottles = [b for b in inputs.plan.supply if b.course == course.key and b.discard >= inputs.printed_on]
    for bottle in bottles:
        yield _("Bottle %(number)s: open it on %(opened)s. Throw it away on the evening of %(discard)s.") % {
            "number": inputs.number(str(bottle.number)),
            "opened": inputs.day(bottle.opened),
            "discard": inputs.day(bottle.discard),
        }
        if bottle.handed_over_trip is not None:
            yield _("You get bottle %(number)s at your visit on %(day)s.") % {
                "number": inputs.number(str(bottle.number)),
                "day": inputs.day(bottle.handed_over),
            }


def held(inputs: SheetInputs) -> Section | None:
    """Medicines that a question still holds back."""
    _ = inputs.words.gettext
    courses = inputs.courses("held")
    if not courses:
        return None
    lines = tuple(
        _("%(eye)s, %(medicine)s: do not start it. The surgeon will tell you when.")
        % {"medicine": inputs.number(inputs.medicine(c).label), "eye": inputs.eye(c.eye)}
        for c in courses
    )
    return Section(heading=_("Do not start yet"), lines=lines)


def steroid_ends(inputs: SheetInputs) -> tuple[str, ...]:
    """The last day of each steroid drop, in words."""
    _ = inputs.words.gettext
    steroids = [c for c in inputs.courses("active") if c.role == "steroid" and not c.as_needed]
    return tuple(
        _("%(eye)s, %(medicine)s: the last day is %(day)s.")
        % {
            "medicine": inputs.number(inputs.medicine(c).label),
            "eye": inputs.eye(c.eye),
            "day": inputs.day(c.last_day),
        }
        for c in steroids
        if c.last_day
    )
