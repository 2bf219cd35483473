"""The drops by the clock: each run of days with its times, and how bottles follow each other."""

from __future__ import annotations

from followup.clinical.careplan import Course, DayPhase
from followup.clinical.going_on import WITHOUT_END
from followup.language.catalogues import N_
from followup.sheets.day_parts import DAY_PARTS, day_part
from followup.sheets.inputs import SheetInputs, sentences
from followup.sheets.medicines import EVERY_DAY, FROM_ON, tablets
from followup.sheets.model import NamedBottle, PhaseTable, Round

NO_ROUNDS = N_("No drops at fixed times.")

_OINTMENTS = ("gel", "ointment")


def phase_tables(inputs: SheetInputs) -> tuple[PhaseTable, ...]:
    """The rounds of every run of days that is not over yet."""
    return tuple(_table(inputs, phase) for phase in inputs.phases())


def _table(inputs: SheetInputs, phase: DayPhase) -> PhaseTable:
    doses = {dose.course: frozenset(dose.times) for dose in phase.doses}
    courses = sorted((inputs.plan.course(key) for key in doses), key=inputs.order)
    return PhaseTable(
        heading=_span(inputs, phase),
        bottles=tuple(_bottle(inputs, course, phase) for course in courses),
        rounds=tuple(
            Round(
                time=inputs.time(time),
                spoken=inputs.spoken(time),
                due=tuple(time in doses[course.key] for course in courses),
                part=day_part(time),
                part_words=inputs.say(DAY_PARTS[day_part(time)]),
                native=inputs.native(time),
            )
            for time in phase.times
        ),
    )


def _bottle(inputs: SheetInputs, course: Course, phase: DayPhase) -> NamedBottle:
    """The head of a column; by mouth it says how many tablets a mark in the column means."""
    bottle = inputs.bottle(course)
    steps = course.steps[-1:] if phase.end == WITHOUT_END else course.steps
    step = next((s for s in steps if s.start <= phase.start <= s.end or phase.end == WITHOUT_END), None)
    if step is None or step.tablets is None:
        return bottle
    # Translators: over a column of times: the name of a medicine, then how many tablets at each time.
    name = inputs.words.gettext("%(medicine)s: %(tablets)s each time") % {
        "medicine": inputs.medicine(course).name,
        "tablets": tablets(inputs, inputs.medicine(course), step.tablets),
    }
    return bottle.model_copy(update={"name": name, "due": name})


def _span(inputs: SheetInputs, phase: DayPhase) -> str:
    if phase.end == WITHOUT_END:
        now = phase.start <= inputs.printed_on
        return inputs.say(EVERY_DAY) if now else inputs.say(FROM_ON) % {"day": inputs.day(phase.start)}
    start, end = inputs.day(phase.start), inputs.day(phase.end)
    if phase.start == phase.end:
        # Translators: heading over the drop times of one single day.
        return inputs.words.gettext("On %(day)s") % {"day": start}
    # Translators: heading over the drop times of a run of days, both days included.
    return inputs.words.gettext("From %(start)s to %(end)s") % {"start": start, "end": end}


def round_rules(inputs: SheetInputs) -> tuple[str, ...]:
    """How the bottles of one round follow each other."""
    _ = inputs.words.gettext
    active = inputs.drops("active")
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
