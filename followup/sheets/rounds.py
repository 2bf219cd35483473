"""The drops by the clock: each run of days with its times, and how bottles follow each other."""

from __future__ import annotations

from followup.clinical.plan.course_table import BottleMark, DaysRow
from followup.language.catalogues import N_
from followup.sheets.day_parts import DAY_PARTS, day_part
from followup.sheets.inputs import SheetInputs, sentences
from followup.sheets.medicines import EVERY_DAY, FROM_ON, tablets
from followup.sheets.model import NamedBottle, PhaseTable, Round

NO_ROUNDS = N_("No drops at fixed times.")

_OINTMENTS = ("gel", "ointment")


def phase_tables(inputs: SheetInputs) -> tuple[PhaseTable, ...]:
    """The rounds of every run of days that is not over yet."""
    return tuple(_table(inputs, row) for row in inputs.rows)


def _table(inputs: SheetInputs, row: DaysRow) -> PhaseTable:
    marks = inputs.in_order(row.marks)
    return PhaseTable(
        heading=_span(inputs, row),
        bottles=tuple(_bottle(inputs, mark) for mark in marks),
        rounds=tuple(
            Round(
                time=inputs.time(time),
                spoken=inputs.spoken(time),
                due=tuple(time in mark.times for mark in marks),
                part=day_part(time),
                part_words=inputs.say(DAY_PARTS[day_part(time)]),
                native=inputs.native(time),
            )
            for time in row.times
        ),
    )


def _bottle(inputs: SheetInputs, mark: BottleMark) -> NamedBottle:
    """The head of a column; by mouth it says how many tablets a mark in the column means."""
    bottle = inputs.bottle(mark.course)
    if mark.tablets is None:
        return bottle
    medicine = inputs.medicine(mark.course)
    # Translators: over a column of times: the name of a medicine, then how many tablets at each time.
    name = inputs.words.gettext("%(medicine)s: %(tablets)s each time") % {
        "medicine": medicine.name,
        "tablets": tablets(inputs, medicine, mark.tablets),
    }
    return bottle.model_copy(update={"name": name, "due": name})


def _span(inputs: SheetInputs, row: DaysRow) -> str:
    start = inputs.day(row.start)
    if row.end is None:
        now = row.start <= inputs.printed_on
        return inputs.say(EVERY_DAY) if now else inputs.say(FROM_ON) % {"day": start}
    if row.start == row.end:
        # Translators: heading over the drop times of one single day.
        return inputs.words.gettext("On %(day)s") % {"day": start}
    # Translators: heading over the drop times of a run of days, both days included.
    return inputs.words.gettext("From %(start)s to %(end)s") % {"start": start, "end": inputs.day(row.end)}


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
