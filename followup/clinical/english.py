"""Dates and counts in the plain English that the staff read; the patient's words are made elsewhere."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from followup.typed import plain

# Not strftime: its names follow the computer's locale.
MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip

MARKS = {
    "P": "published text or abstract seen",
    "S": "seen in a secondary copy",
    "M": "from memory, not seen",
    "C": "common practice or our judgement",
}
"""What the mark of a source means."""


def day_words(day: date) -> str:
    """Such as "29 February 2024"."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def listed(items: Iterable[str], last: str = "and") -> str:
    """Such as "a, b and c"."""
    found = list(items)
    return f"{', '.join(found[:-1])} {last} {found[-1]}" if len(found) > 1 else "".join(found)


def sentence(text: str) -> str:
    """``text`` beginning with a capital and ending with a stop."""
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if plain(text).endswith((".", "?", "!")) else ".")


def steps_words(steps: Iterable[tuple[int, int]]) -> str:
    """Such as "4 a day for 7 days, 3 a day for 7 days"."""
    return ", ".join(f"{count} a day for {counted(days, 'day', 'days')}" for count, days in steps)


def window_words(window: tuple[int, int, int], hours: tuple[int, int] | None = None) -> str:
    """When the look of a window in days is: "in 2 to 4 days", "the next day"; ``hours`` for one today."""
    first, _, last = window
    days = _days_words(max(first, 1), last)
    if hours:
        return f"in {hours[0]} to {hours[1]} hours or {days}"
    return days if first else f"later today or {days}"


def _days_words(first: int, last: int) -> str:
    if last <= 1:
        return "the next day"
    return f"in {last} days" if first >= last else f"in {first} to {last} days"


def steps_in_short(steps: Iterable[tuple[int, int]], start: str) -> str:
    """Such as "16 a day for 3 days from 10 March 2026, then 8 for 4 days, then 6 for 7 days"."""
    (count, days), *later = list(steps)
    first = f"{count} a day for {counted(days, 'day', 'days')} from {start}"
    return first + "".join(f", then {count} for {counted(days, 'day', 'days')}" for count, days in later)
