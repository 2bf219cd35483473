"""The one table of a plan as text in fixed columns: days down, clock times across, letters in the cells."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import replace
from itertools import zip_longest

from followup.care.plans.plan_table import PlanTable
from followup.cli.words import DayNumbers, table_day, table_days
from followup.clinical.careplan import CarePlan, Trip
from followup.clinical.english import counted, joined, listed
from followup.clinical.plan.course_table import BottleMark, DaysRow, VisitRow
from followup.clinical.plan.keys_told import PlanNames
from followup.clinical.plan.tablets import number_of_units
from followup.clinical.statuses import TO_COME, TRIP_WORDS
from followup.typed import one_line

WIDTH = 100
_Entry = tuple[tuple[str, ...], list[str] | str]
"""The first columns of a line; then its cells, or what it says across them. A cell may have several lines."""


def table_lines(table: PlanTable, days: DayNumbers, names: PlanNames) -> list[str]:
    """The table within WIDTH: where it has too many columns, the rows with most rounds are told in words."""
    lines: list[str] = []
    for most in range(table.most, -1, -1):
        lines = list(_drawn(list(_entries(replace(table, most=most), days, names))))
        if all(len(line) <= WIDTH for line in lines):
            break
    return lines


def _drawn(entries: list[_Entry]) -> Iterator[str]:
    left = [max(map(len, column)) for column in zip_longest(*(first for first, _ in entries), fillvalue="")]
    cells = zip(*(rest for _, rest in entries if isinstance(rest, list)), strict=True)
    widths = [max(len(line) for cell in column for line in cell.split("\n")) for column in cells]
    for first, rest in entries:
        before = "".join(f"{text:{width}}  " for text, width in zip(first, left, strict=False))
        for line in _across(rest, WIDTH - len(before)) if isinstance(rest, str) else _beside(rest, widths):
            yield f"{before}{line}".rstrip()
            before = " " * len(before)


def _beside(cells: list[str], widths: list[int]) -> Iterator[str]:
    lines = zip_longest(*(cell.split("\n") for cell in cells), fillvalue="")
    for line in lines if cells else [()]:
        yield " ".join(f"{text:{width}}" for text, width in zip(line, widths, strict=True))


def _across(text: str, width: int) -> Iterator[str]:
    for line in text.split("\n"):
        yield from textwrap.wrap(
            line, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False
        )


def _entries(table: PlanTable, days: DayNumbers, names: PlanNames) -> Iterator[_Entry]:
    both, plan = table.both_eyes, table.plan
    head = "day" if len(days.operated) == 1 else f"day {' / '.join(days.operated)}"
    yield ("Drops, o visits, + bottles", head, *(("eye",) if both else ())), list(table.times)
    for row in table.rows:
        if isinstance(row, VisitRow):
            first = (_visit_day(row.trip), days.figures(row.trip.date, row.trip.date))
            yield first, visit_words(row.trip, plan, names, _handed_over(row, table))
            continue
        dates, number = _dates(row, plan), days.figures(row.start, row.end) if row.end else ""
        for line in table.lines(row):
            eye = ((line.marks[0].course.eye or "mouth"),) if both else ()
            yield (dates, number, *eye), _told(line, table) if table.in_words(row) else _cells(line, table)
            dates = number = ""


def _dates(row: DaysRow, plan: CarePlan) -> str:
    if row.end is None:
        return "  from now on" if row.start <= plan.as_of else "  after that"
    return f"  {table_days(row.start, row.end)}"


def _visit_day(trip: Trip) -> str:
    return f"o {table_day(trip.date)}" + (f", {trip.hour}" if trip.hour else "")


def _cells(line: DaysRow, table: PlanTable) -> list[str]:
    doses = ([_dose(mark, table).replace(" (", "\n(") for mark in line.at(time)] for time in table.times)
    return [" ".join(dose) for dose in doses]


def _told(line: DaysRow, table: PlanTable) -> str:
    return "\n".join(f"{_dose(mark, table)} {_times(mark, table)}" for mark in line.marks)


def _times(mark: BottleMark, table: PlanTable) -> str:
    hours = table.hours(mark)
    if hours is None:
        return ", ".join(mark.times)
    between = "hour" if hours == 1 else counted(hours, "hour", "hours")
    return f"every {between} from {mark.times[0]} to {mark.times[-1]}"


def _dose(mark: BottleMark, table: PlanTable) -> str:
    """A letter, one drop; by mouth with the number of tablets each time."""
    letter, step = table.letter(mark.course), mark.step
    if step is None or step.tablets is None:
        return letter
    medicine = table.formulary.get(mark.course.medicine)
    return f"{letter} {number_of_units(step.tablets, medicine)} ({step.mg_each:g} mg)"


def _handed_over(row: VisitRow, table: PlanTable) -> str:
    letters = dict.fromkeys(table.letter(table.plan.course(bottle.course)) for bottle in row.bottles)
    return f" + {' '.join(letters)}" if letters else ""


def visit_words(trip: Trip, plan: CarePlan, names: PlanNames, handed_over: str = "") -> str:
    """A visit by its number: how it stands, where it is, what it is for, and how far it can move."""
    fixed = ", can't be moved" if trip.cannot_move else ""
    over = f", beyond the places of {listed(trip.overbooked)}" if trip.overbooked else ""
    hours = f", {trip.hours[0]} to {trip.hours[1]}" if trip.hours else ""
    place = f", at {one_line(trip.place)}{hours}" if trip.place else ""
    over += ", on the day that was decided" if trip.decided else ""
    state = "" if trip.status == "proposed" else f", {TRIP_WORDS[trip.status]}"
    window = f"any day from {table_days(trip.window_start, trip.window_end)}"
    if trip.window_start == trip.window_end:
        window = "on this day only"
    what = joined((_purpose(trip, plan, names), window), "; ")
    return f"visit {trip.number}{handed_over}{state}{place}{fixed}{over}: {what}"


def _purpose(trip: Trip, plan: CarePlan, names: PlanNames) -> str:
    if trip.serves:
        return names.looks(trip.serves)
    kinds = joined(dict.fromkeys(names.watched(gap) for gap in plan.gaps), "; ")
    watched = f"so that not too long passes without: {kinds}" if kinds else "booked"
    return watched if trip.status in TO_COME else ""
