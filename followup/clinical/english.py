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
