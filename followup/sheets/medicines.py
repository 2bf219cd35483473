"""The drops on the sheet: by dates, by the clock, how to put them in, and when they end."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from followup.clinical.careplan import Course, DayPhase, Step
from followup.clinical.record import Eye
from followup.language.catalogues import N_
from followup.language.dates import short_date
from followup.sheets.inputs import SheetInputs, sentences
from followup.sheets.model import BottleBlock, PhaseTable, Round, Section, StairBlock, StairMark, TaperLine
from followup.sheets.staircase import Staircase, build_staircase
from followup.sheets.wording import BOTTLE_CARE, PURPOSES

_OINTMENTS = ("gel", "ointment")


def stair_blocks(inputs: SheetInputs) -> tuple[StairBlock, ...]:
    """One staircase for each eye with drops still to come."""
    return tuple(block for eye in inputs.eyes if (block := _stair_block(inputs, eye)))


def _stair_block(inputs: SheetInputs, eye: Eye) -> StairBlock | None:
    _ = inputs.words.gettext
    mine = inputs.plan.model_copy(update={"courses": tuple(c for c in inputs.plan.courses if c.eye == eye)})
    drawing = build_staircase(mine, mirrored=inputs.words.language.rtl)
    if drawing is None or not drawing.stairs:
        return None
    names = {c.key: inputs.number(inputs.medicine(c).label) for c in mine.courses}
    return StairBlock(
        heading=inputs.eye(eye),
        drawing=drawing,
        labels=names,
        start=inputs.day(drawing.start),
        end=inputs.day(drawing.end),
        marks=_marks(inputs, drawing),
        note=_("The numbers are drops a day. A circle is a visit."),
        words=_("The drops of this eye go down step by step, like stairs."),
    )


def _marks(inputs: SheetInputs, drawing: Staircase) -> tuple[StairMark, ...]:
    """The day of every step of the steroid, or of the first bottle where there is none."""
    chosen = [stair for stair in drawing.stairs if stair.filled] or list(drawing.stairs[:1])
    marks = {tread.start: tread.x for stair in chosen for tread in stair.treads}
    return tuple(
        StairMark(x=x, words=short_date(drawing.start + timedelta(days=start), inputs.words.language))
        for start, x in sorted(marks.items())
    )


def phase_tables(inputs: SheetInputs) -> tuple[PhaseTable, ...]:
    """The rounds of every run of days that is not over yet."""
    return tuple(_table(inputs, phase) for phase in inputs.plan.rounds if phase.end >= inputs.printed_on)


def _table(inputs: SheetInputs, phase: DayPhase) -> PhaseTable:
    doses = {dose.course: frozenset(dose.times) for dose in phase.doses}
    courses = sorted((inputs.plan.course(key) for key in doses), key=inputs.order)
    return PhaseTable(
        heading=_span(inputs, phase),
        bottles=tuple(inputs.bottle(course) for course in courses),
        rounds=tuple(
            Round(time=inputs.time(time), due=tuple(time in doses[course.key] for course in courses))
            for time in phase.times
        ),
    )


def _span(inputs: SheetInputs, phase: DayPhase) -> str:
    start, end = inputs.day(phase.start), inputs.day(phase.end)
    if phase.start == phase.end:
        # Translators: heading over the drop times of one single day.
        return inputs.words.gettext("On %(day)s") % {"day": start}
    # Translators: heading over the drop times of a run of days, both days included.
    return inputs.words.gettext("From %(start)s to %(end)s") % {"start": start, "end": end}


def round_rules(inputs: SheetInputs) -> tuple[str, ...]:
    """How the bottles of one round follow each other."""
    _ = inputs.words.gettext
    active = [c for c in inputs.courses("active", "held") if c.eye]
    shared = [c for c in active if sum(other.eye == c.eye for other in active) > 1]
    minutes = max((inputs.medicine(c).wait_minutes for c in shared), default=0)
    drops = inputs.aftercare.drops
    ointment = any(inputs.medicine(c).form in _OINTMENTS for c in shared)
    return sentences(
        _("Start with the first bottle of the row and go on in the order shown.")
        if len(active) > 1
        else None,
        _between_bottles(inputs, minutes) if minutes else None,
        _("Between one eye and the other you need not wait.") if len({c.eye for c in active}) > 1 else None,
        _before_ointment(inputs, max(drops.ointment_wait_minutes, minutes)) if ointment else None,
    )


def _between_bottles(inputs: SheetInputs, minutes: int) -> str:
    text = inputs.words.ngettext(
        "Between two bottles for the same eye wait at least %(count)s minute.",
        "Between two bottles for the same eye wait at least %(count)s minutes.",
        minutes,
    )
    return text % {"count": inputs.number(str(minutes))}


def _before_ointment(inputs: SheetInputs, minutes: int) -> str:
    text = inputs.words.ngettext(
        "Ointment or gel comes last, %(count)s minute after the drops.",
        "Ointment or gel comes last, %(count)s minutes after the drops.",
        minutes,
    )
    return text % {"count": inputs.number(str(minutes))}


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
    return TaperLine(dates=dates, dose=_dose(inputs, course, step))


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


def stopping(inputs: SheetInputs) -> Section | None:
    """Not before the last day, not after it, and what to do about a missed drop."""
    _ = inputs.words.gettext
    if not inputs.courses("active"):
        return None
    return Section(
        heading=_("Stopping and missing drops"),
        lines=sentences(
            _("Do not stop a drop before its last day, even if the eye feels well."),
            _("Do not go on with the steroid drop after its last day.") if steroid_ends(inputs) else None,
            _("A missed drop: put it in when you think of it."),
            missed(inputs),
        ),
    )


def missed(inputs: SheetInputs) -> str:
    """What to do with a forgotten drop when the next is near."""
    hours = inputs.aftercare.drops.missed_within_hours
    # Translators: about a drop that was forgotten.
    text = inputs.words.ngettext(
        "If the next drop is due within %(count)s hour, leave the missed one out. Never take a double dose.",
        "If the next drop is due within %(count)s hours, leave the missed one out. Never take a double dose.",
        hours,
    )
    return text % {"count": inputs.number(str(hours))}


def how_to(inputs: SheetInputs) -> Section | None:
    """The steps of putting in one drop."""
    _ = inputs.words.gettext
    drops = [c for c in inputs.courses("active", "held") if c.eye]
    if not drops:
        return None
    handling = inputs.aftercare.drops
    pregnancy = inputs.record.patient.conditions.pregnancy
    pregnant = pregnancy is not None and pregnancy != "no"
    minutes = handling.press_minutes_pregnant if pregnant else handling.press_minutes
    return Section(
        heading=_("How to put in a drop"),
        numbered=True,
        lines=sentences(
            _("Wash your hands. Make sure of the bottle and the eye."),
            _("Shake the bottle if this sheet says so.")
            if any(inputs.medicine(c).shake for c in drops)
            else None,
            _("Lean your head back and look up. Pull the lower eyelid down."),
            _("Let one drop fall in. The tip must touch nothing."),
            _eye_closed(inputs, minutes),
            _("Close the bottle."),
        ),
    )


def _eye_closed(inputs: SheetInputs, minutes: int) -> str:
    text = inputs.words.ngettext(
        "Close the eye for %(count)s minute, or press on its inner corner. Do not squeeze it shut.",
        "Close the eye for %(count)s minutes, or press on its inner corner. Do not squeeze it shut.",
        minutes,
    )
    return text % {"count": inputs.number(str(minutes))}


def bottle_care(inputs: SheetInputs) -> Section | None:
    """Keeping and replacing bottles."""
    if not inputs.courses("active", "held"):
        return None
    _ = inputs.words.gettext
    return Section(heading=_("Your bottles"), lines=tuple(inputs.say(line) for line in BOTTLE_CARE))


NO_ROUNDS = N_("No drops at fixed times.")
