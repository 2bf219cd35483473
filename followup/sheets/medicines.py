"""Each medicine on the sheet by dates: when it starts, goes down and ends, and its bottles."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from followup.clinical.careplan import Course, Step
from followup.clinical.plan.tablets import tablets_a_time
from followup.clinical.protocol.formulary import Medicine
from followup.language.catalogues import N_
from followup.language.dates import opening
from followup.sheets.inputs import SheetInputs
from followup.sheets.model import BottleBlock, SheetSection, TaperLine
from followup.sheets.wording import PURPOSES

# Translators: when a medicine is used that does not end; also over its drop times.
EVERY_DAY = N_("Every day")
# Translators: when a medicine is used that does not end, from this day on.
FROM_ON = N_("From %(day)s on")


def bottle_blocks(inputs: SheetInputs) -> tuple[BottleBlock, ...]:
    """Every running medicine by dates, with its bottles."""
    return tuple(_block(inputs, course) for course in inputs.courses("active"))


def _block(inputs: SheetInputs, course: Course) -> BottleBlock:
    row = inputs.table.course(course.key)
    left = [line for line in row.steps if line.step.end >= inputs.printed_on]
    ends = inputs.last_day(course)
    return BottleBlock(
        bottle=inputs.bottle(course),
        purpose=inputs.say(PURPOSES[course.role]),
        lines=tuple(
            TaperLine(
                dates=_dates(inputs, line.since, ends if line is row.steps[-1] else line.until),
                dose=dose(inputs, course, line.step),
                native=inputs.native(str(line.step.count)),
            )
            for line in left or (row.steps[-1:] if row.goes_on else ())
        ),
        notes=tuple(_notes(inputs, course)),
    )


def _dates(inputs: SheetInputs, start: date | None, end: date | None) -> str:
    _ = inputs.words.gettext
    if start is None and end is None:
        return _(EVERY_DAY)
    if end is None:
        assert start
        return _(FROM_ON) % {"day": inputs.day(start)}
    if start is None:
        # Translators: how long a medicine goes on that the patient uses already; the day is the last.
        return _("Until %(day)s") % {"day": inputs.day(end)}
    if start == end:
        return inputs.opening_day(start)
    # Translators: the days on which one dose holds, both included; begins a line.
    return opening(_("%(start)s to %(end)s") % {"start": inputs.day(start), "end": inputs.day(end)})


def dose(inputs: SheetInputs, course: Course, step: Step) -> str:
    """How much of it in a day."""
    times, medicine = times_a_day(inputs, step.count), inputs.medicine(course)
    if step.mg is None:
        return times
    number = step.tablets or tablets_a_time(step.mg, step.count, medicine)
    if number is None:
        # Translators: amount of a tablet medicine for the whole day, then how it is spread.
        return inputs.words.gettext("%(mg)s mg in all, %(times)s") % {
            "mg": inputs.number(f"{step.mg:g}"),
            "times": times,
        }
    # Translators: how many tablets each time, how often in a day, then their amount for the whole day.
    return inputs.words.gettext("%(tablets)s, %(times)s (%(mg)s mg in all)") % {
        "tablets": tablets(inputs, medicine, number),
        "mg": inputs.number(f"{step.mg:g}"),
        "times": times,
    }


def tablets(inputs: SheetInputs, medicine: Medicine, number: float) -> str:
    """So many tablets, capsules or single doses; only a tablet is ever halved."""
    words = inputs.words
    whole, half = divmod(number, 1)
    count = {"count": inputs.number(str(int(whole)))}
    if medicine.single_dose:
        return words.ngettext("%(count)s single dose", "%(count)s single doses", int(whole)) % count
    if medicine.form == "capsule":
        return words.ngettext("%(count)s capsule", "%(count)s capsules", int(whole)) % count
    if half and whole:
        # Translators: the number is a number and a half, such as 1½.
        return words.gettext("tablets: %(number)s") % {"number": inputs.number(f"{int(whole)}½")}
    if half:
        return words.gettext("half a tablet")
    return words.ngettext("%(count)s tablet", "%(count)s tablets", int(whole)) % count


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
    if medicine.single_dose:
        yield _("Use each single dose once, for one eye. Then throw it away.")
    if medicine.shake:
        yield _("Shake this bottle well before every drop.")
    if course.ordered_by:
        yield _("Ordered by %(name)s.") % {"name": inputs.name(course.ordered_by)}
    if course.role == "steroid tablet":
        yield _("Never stop steroid tablets suddenly.")
    yield from _supply(inputs, course)
    if inputs.goes_on(course) and any(b.course == course.key and b.units is None for b in inputs.plan.supply):
        yield _("Get a new bottle before you throw this one away.")


def _supply(inputs: SheetInputs, course: Course) -> Iterator[str]:
    _ = inputs.words.gettext
    bottles = [b for b in inputs.plan.supply if b.course == course.key and b.discard >= inputs.printed_on]
    for bottle in bottles:
        coming = bottle.handed_over_trip is not None and bottle.handed_over >= inputs.printed_on
        if bottle.units is not None:
            if coming:
                # Translators: tablets that are handed over at a visit, then how many.
                yield _("At your visit on %(day)s you get: %(tablets)s.") % {
                    "day": inputs.day(bottle.handed_over),
                    "tablets": tablets(inputs, inputs.medicine(course), bottle.units),
                }
            continue
        # Translators: one bottle; its last drop may be late at night or, for a night worker, next morning.
        ahead = _(
            "Bottle %(number)s: open it on %(opened)s. Throw it away after the last drop of %(discard)s."
        )
        # Translators: the same of a bottle that is open already.
        in_use = _("Bottle %(number)s: throw it away after the last drop of %(discard)s.")
        yield (ahead if bottle.opened >= inputs.printed_on else in_use) % {
            "number": inputs.number(str(bottle.number)),
            "opened": inputs.day(bottle.opened),
            "discard": inputs.day(bottle.discard),
        }
        if coming:
            yield _("You get bottle %(number)s at your visit on %(day)s.") % {
                "number": inputs.number(str(bottle.number)),
                "day": inputs.day(bottle.handed_over),
            }


def held(inputs: SheetInputs) -> SheetSection | None:
    """Medicines that a question still holds back."""
    _ = inputs.words.gettext
    courses = [c for c in inputs.courses("held") if not c.from_before]
    if not courses:
        return None
    lines = tuple(
        _("%(eye)s, %(medicine)s: do not start it. The surgeon will tell you when.") % inputs.named(c)
        for c in courses
    )
    return SheetSection(heading=_("Do not start yet"), lines=lines)


def go_on(inputs: SheetInputs, *states: str) -> tuple[str, ...]:
    """The medicines in these states that the patient does not stop where the plan ends."""
    _ = inputs.words.gettext
    return tuple(
        # Translators: eye and medicine; a medicine that the patient has used before and does not stop.
        _("%(eye)s, %(medicine)s: go on with it.") % inputs.named(c)
        for c in inputs.courses(*states)
        if inputs.goes_on(c)
    )


def steroid_ends(inputs: SheetInputs) -> tuple[str, ...]:
    """The last day of each steroid drop, in words."""
    _ = inputs.words.gettext
    steroids = [c for c in inputs.courses("active") if c.role == "steroid" and not c.as_needed]
    return tuple(
        _("%(eye)s, %(medicine)s: the last day is %(day)s.") % {**inputs.named(c), "day": inputs.day(last)}
        for c in steroids
        if (last := inputs.last_day(c))
    )
