"""Dates, day numbers and counts in the plain English of the command line."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from followup.clinical.protocol.formulary import Medicine
from followup.clinical.record import Eye, Record
from followup.said import MONTHS
from followup.typed import one_line

# Not strftime: its names follow the computer's locale, and the same plan must be the same bytes.
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def long_day(day: date) -> str:
    """Such as "Thursday 29 February 2024"."""
    return f"{_WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]} {day.year}"


def short_day(day: date) -> str:
    """Such as "Thu 29 Feb 2024", for tables."""
    return f"{_WEEKDAYS[day.weekday()][:3]} {day.day} {MONTHS[day.month - 1][:3]} {day.year}"


def table_day(day: date) -> str:
    """Such as "Thu 29 Feb", in the table of a plan: its head says the year."""
    return short_day(day).rsplit(" ", 1)[0]


def table_days(first: date, last: date) -> str:
    """Such as "Thu 29 Feb to Fri 1 Mar", both included."""
    return table_day(first) if first == last else f"{table_day(first)} to {table_day(last)}"


def medicine_words(medicine: str, formulary: Mapping[str, Medicine]) -> str:
    """Generic name and strength, or the id as it stands where the formulary doesn't know it."""
    known = formulary.get(medicine)
    return known.label if known else one_line(medicine)


class DayNumbers:
    """Days after each eye's latest operation: the operation's own day is day 0."""

    def __init__(self, record: Record) -> None:
        latest: dict[Eye, date] = {}
        for operation in record.operations:
            latest[operation.eye] = max(operation.date, latest.get(operation.eye, operation.date))
        self.operated: dict[Eye, date] = dict(sorted(latest.items(), key=lambda item: (item[1], item[0])))

    def number(self, day: date, eye: Eye | None = None) -> str:
        """Such as "day 7"; with both eyes operated and none named, "right eye day 17, left eye day 7"."""
        if eye in self.operated:
            return f"day {(day - self.operated[eye]).days}"
        if len(self.operated) == 1:
            return f"day {(day - next(iter(self.operated.values()))).days}"
        return ", ".join(f"{name} eye day {(day - start).days}" for name, start in self.operated.items())

    def span(self, first: date, last: date, eye: Eye | None = None) -> str:
        """Dates and day numbers from ``first`` to ``last``, both included."""
        if first == last:
            return f"{short_day(first)} ({self.number(first, eye)})"
        return (
            f"{short_day(first)} to {short_day(last)} ({self.number(first, eye)} to {self.number(last, eye)})"
        )

    def figures(self, first: date, last: date) -> str:
        """The same as "1–7", or of each eye "11–17 / 1–7", for a column of a table."""
        pairs = ((str((day - start).days) for day in (first, last)) for start in self.operated.values())
        return " / ".join("–".join(dict.fromkeys(pair)) for pair in pairs)
