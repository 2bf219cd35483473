"""The one table of the sheet: what goes in by the clock, day by day, and the visits between."""

from __future__ import annotations

from followup.language.catalogues import N_
from followup.sheets.inputs import SheetInputs

# Translators: when a bottle is used that goes in very often; both times are included.
EVERY_HOUR = N_("every hour from %(start)s to %(end)s")


def every_hours(inputs: SheetInputs, hours: int, start: str, end: str) -> str:
    """So many hours from one drop to the next, from the first clock time to the last."""
    values = {"start": inputs.time(start), "end": inputs.time(end)}
    if hours == 1:
        return inputs.say(EVERY_HOUR) % values
    # Translators: the same, with the number of hours from one drop to the next.
    text = inputs.words.ngettext(
        "every %(count)s hour from %(start)s to %(end)s",
        "every %(count)s hours from %(start)s to %(end)s",
        hours,
    )
    return text % {**values, "count": inputs.number(str(hours))}
