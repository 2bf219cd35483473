"""Dates and counts in the plain English that the staff read; the patient's words are made elsewhere."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from followup.said import Count, Day, JoinedText, Said, Whole, say

MARKS = {
    "P": say("published text or abstract seen"),
    "S": say("seen in a secondary copy"),
    "M": say("from memory, not seen"),
    "C": say("common practice or our judgement"),
}
"""What the mark of a source means."""


def day_words(day: date) -> Day:
    """Such as "29 February 2024"."""
    return Day.of(day)


def counted(number: int, one: str, many: str) -> Count:
    """Such as "1 day", "3 days"."""
    return Count.of(number, one, many)


def listed(items: Iterable[str], last: str = "and") -> JoinedText:
    """Such as "a, b and c"."""
    return JoinedText.of(items, ", ", f" {last} ")


def joined(items: Iterable[str], sign: str = " ") -> JoinedText:
    """Texts one after the other, with ``sign`` between them."""
    return JoinedText.of(items, sign)


def sentence(text: str) -> Whole:
    """``text`` beginning with a capital and ending with a stop."""
    return Whole.of(text)


def capital(text: str) -> Whole:
    """``text`` beginning with a capital, to go on after it."""
    return Whole.of(text, stop=False)


def steps_words(steps: Iterable[tuple[int | str, int]]) -> Said:
    """Such as "4 a day for 7 days, 3 a day for 7 days"."""
    return joined(
        (
            say("{count} a day for {days}", count=count, days=counted(days, "day", "days"))
            for count, days in steps
        ),
        ", ",
    )


def window_words(window: tuple[int, int, int], hours: tuple[int, int] | None = None) -> Said:
    """When the look of a window in days is: "in 2 to 4 days", "the next day"; ``hours`` for one today."""
    first, _, last = window
    days = _days_words(max(first, 1), last)
    if hours:
        return say("in {least} to {most} hours or {days}", least=hours[0], most=hours[1], days=days)
    return days if first else say("later today or {days}", days=days)


def _days_words(first: int, last: int) -> Said:
    if last <= 1:
        return say("the next day")
    return (
        say("in {last} days", last=last)
        if first >= last
        else say("in {first} to {last} days", first=first, last=last)
    )


def steps_text(steps: Iterable[tuple[int | str, int]]) -> str:
    """As they are typed: "6 x 7, 4 x 7" is six a day for seven days, then four for seven."""
    return ", ".join(f"{count} x {days}" for count, days in steps)


def steps_in_short(steps: Iterable[tuple[int, int]], start: str) -> Said:
    """Such as "16 a day for 3 days from 10 March 2026, then 8 for 4 days, then 6 for 7 days"."""
    (count, days), *later = list(steps)
    first = say(
        "{count} a day for {days} from {start}", count=count, days=counted(days, "day", "days"), start=start
    )
    after = (
        say("then {count} for {days}", count=count, days=counted(days, "day", "days"))
        for count, days in later
    )
    return joined((first, *after), ", ")
