"""Each medicine on the sheet: what its letter means, and its bottles."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import zip_longest

from followup.clinical.careplan import Course
from followup.clinical.day_plan import Bottle
from followup.clinical.protocol.formulary import Medicine
from followup.language.catalogues import N_
from followup.language.dates import row_day
from followup.sheets.inputs import SheetInputs
from followup.sheets.model import BottleBlock, Container, SheetSection
from followup.sheets.wording import GET_IN_TIME, PURPOSES, SHAKE

# Translators: when a medicine is used that does not end; also over its drop times.
EVERY_DAY = N_("Every day")
# Translators: when a medicine is used that does not end, from this day on.
FROM_ON = N_("From %(day)s on")


def bottle_blocks(inputs: SheetInputs) -> tuple[BottleBlock, ...]:
    """Every running medicine with what its letter means, and its containers."""
    return tuple(_block(inputs, course) for course in inputs.courses("active"))


def _block(inputs: SheetInputs, course: Course) -> BottleBlock:
    medicine = inputs.medicine(course)
    return BottleBlock(
        bottle=inputs.bottle(course),
        purpose=inputs.say(PURPOSES[course.role]),
        use=tuple(_use(inputs, course)),
        notes=tuple(_notes(inputs, course)),
        shake=inputs.say(SHAKE) if medicine.shake else None,
        lines=tuple(_containers(inputs, course)),
    )


def _use(inputs: SheetInputs, course: Course) -> Iterator[str]:
    """What the table can't say of how it is used."""
    _ = inputs.words.gettext
    if course.from_before:
        yield _("You use this already. Go on with it.")
    if course.as_needed:
        yield _("Do not use it every day. Use it only if the clinic tells you to.")


def _notes(inputs: SheetInputs, course: Course) -> Iterator[str]:
    _ = inputs.words.gettext
    if inputs.medicine(course).single_dose:
        yield _("Use each single dose once, for one eye. Then throw it away.")
    if course.ordered_by:
        yield _("Ordered by %(name)s.") % {"name": inputs.name(course.ordered_by)}


def _containers(inputs: SheetInputs, course: Course) -> Iterator[Container]:
    """Bottles in use or to come, each thrown away on the earlier of its shelf life and the course's end."""
    ends = inputs.last_day(course)
    bottles = [
        b
        for b in inputs.plan.supply
        if b.course == course.key and b.units is None and b.discard >= inputs.printed_on
    ]
    for bottle, after in zip_longest(bottles, bottles[1:]):
        yield Container(
            number=inputs.number(str(bottle.number)),
            opened=row_day(bottle.opened, inputs.words.language),
            discard=row_day(min(bottle.discard, ends) if ends else bottle.discard, inputs.words.language),
            next=_next(inputs, course, after),
        )


def _next(inputs: SheetInputs, course: Course, after: Bottle | None) -> str:
    """The visit at which the next bottle is handed over; nothing where it is at home or none is needed."""
    if after is None:
        return inputs.say(GET_IN_TIME) if inputs.goes_on(course) else ""
    if after.handed_over_trip is None or after.handed_over < inputs.printed_on:
        return ""
    return row_day(after.handed_over, inputs.words.language)


def tablets(inputs: SheetInputs, medicine: Medicine, number: float) -> str:
    """So many tablets or capsules; only a tablet is ever halved."""
    words = inputs.words
    whole, half = divmod(number, 1)
    count = {"count": inputs.number(str(int(whole)))}
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
