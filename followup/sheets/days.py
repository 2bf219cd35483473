"""The days to tick: every day to the end of the drops, each with the boxes of its row in the table."""

from __future__ import annotations

from datetime import date, timedelta

from followup.clinical.statuses import TO_COME
from followup.language.dates import row_day
from followup.sheets.inputs import SheetInputs
from followup.sheets.medicines import go_on
from followup.sheets.model import CalendarBlock, DaysLine, LeafTable, TickDay
from followup.timing.calendar import every_day

_LONGEST = 400  # days; beyond that a date in the record is wrong


def days_to_tick(inputs: SheetInputs, table: LeafTable) -> CalendarBlock | None:
    """The days on which drops go in; None where there are none."""
    days = _days(inputs)
    if not days:
        return None
    _ = inputs.words.gettext
    # The lines of days of the table are the rows that are not over, in their order.
    places = [i for i, line in enumerate(table.rows) if isinstance(line, DaysLine)]
    return CalendarBlock(
        heading=_("Day by day"),
        how=_("Tick a box when all drops of that time are in."),
        # Translators: explains a black mark beside a day of the calendar.
        mark=_("A black mark shows what is new from that day on."),
        days=tuple(_day(inputs, day, places, i == 0) for i, day in enumerate(days)),
        goes_on=go_on(inputs, "active"),
    )


def _days(inputs: SheetInputs) -> list[date]:
    """Every day from the first drop to the last that has a last day."""
    ends = [last for c in inputs.courses("active") if (last := inputs.last_day(c))]
    last = max([*ends, *(row.end for row in inputs.rows if row.end)], default=None)
    if not inputs.rows or last is None:
        return []
    first = max(min(row.start for row in inputs.rows), inputs.printed_on)
    return list(every_day(first, min(last, first + timedelta(days=_LONGEST))))


def _day(inputs: SheetInputs, day: date, places: list[int], first: bool) -> TickDay:
    row = next((i for i, row in enumerate(inputs.rows) if row.holds_on(day)), None)
    visit = any(t.date == day and t.status in TO_COME for t in inputs.plan.trips)
    return TickDay(
        day=row_day(day, inputs.words.language),
        row=None if row is None else places[row],
        visit=inputs.words.gettext("Visit at the clinic.") if visit else None,
        new=not first and row is not None and inputs.rows[row].start == day,
        native=inputs.native(str(day.day)),
    )
