"""A table as a spreadsheet or a text file holds it, whatever it came in, and the bounds of what is taken."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Literal

from followup.errors import FollowupError
from followup.said import say
from followup.typed import typed

Cell = str | int | float | bool | date | datetime | time
"""What a cell holds; an empty one holds ""."""
Kind = Literal["csv", "xlsx", "ods"]

MOST_BYTES = 20_000_000
MOST_UNPACKED = 120_000_000
"""Bytes: a packed workbook of the size above holds no more, but for one that was made to fill a computer."""
MOST_ROWS, MOST_COLUMNS = 20_000, 200
LONGEST_CELL = 4_000
"""Characters: the longest text that a record takes."""


@dataclass(frozen=True)
class Table:
    """One sheet: its rows in their order, the first is row 1. ``merged``: the first cell of each group of
    merged ones, as (row, column) from 1."""

    name: str
    rows: tuple[tuple[Cell, ...], ...]
    merged: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True)
class FileForm:
    """How a file was written, so that rows go back as they came. The last two are of text alone."""

    kind: Kind
    delimiter: str = ","
    encoding: str = "utf-8-sig"


@dataclass(frozen=True)
class Sheets:
    """All tables of a file."""

    form: FileForm
    tables: tuple[Table, ...]


def column_letters(number: int) -> str:
    """The name of a column from 1 as spreadsheets show it.

    >>> column_letters(1), column_letters(28)
    ('A', 'AB')
    """
    letters = ""
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def place(row: int, column: int) -> str:
    """A cell as spreadsheets name it, such as B7; both from 1."""
    return f"{column_letters(column)}{row}"


def refused(code: str, what: str, where: str, fix: str) -> FollowupError:
    """The error for a file that can't be taken. ``where`` is what somebody called it."""
    return FollowupError(f"list.{code}", what, where=typed(where), fix=fix)


def too_many_rows(where: str) -> FollowupError:
    """The error for a table that goes on too long."""
    return refused(
        "size", say("more than {most} rows", most=MOST_ROWS), where, say("cut the file into several")
    )


def too_far(where: str, row: int, column: int) -> FollowupError:
    """The error for a cell far outside of any list."""
    return refused(
        "size",
        say(
            "the cell {cell} lies beyond row {rows} or column {columns}",
            cell=place(row, column),
            rows=MOST_ROWS,
            columns=MOST_COLUMNS,
        ),
        where,
        say("delete what stands so far out, or cut the file into several"),
    )


def too_long(where: str, row: int, column: int) -> FollowupError:
    """The error for a cell that holds a book."""
    return refused(
        "size",
        say("the cell {cell} holds more than {most} characters", cell=place(row, column), most=LONGEST_CELL),
        where,
        say("shorten it"),
    )


def bounded(table: Table, where: str) -> Table:
    """The table, if it keeps to the bounds, without the empty cells and rows at its ends."""
    rows = [_without_end(row) for row in table.rows]
    while rows and not rows[-1]:
        rows.pop()
    if len(rows) > MOST_ROWS:
        raise too_many_rows(where)
    for number, row in enumerate(rows, 1):
        if len(row) > MOST_COLUMNS:
            raise too_far(where, number, len(row))
        for column, cell in enumerate(row, 1):
            if isinstance(cell, str) and len(cell) > LONGEST_CELL:
                raise too_long(where, number, column)
    return Table(table.name, tuple(rows), table.merged)


def _without_end(row: tuple[Cell, ...]) -> tuple[Cell, ...]:
    length = len(row)
    while length and row[length - 1] == "" and isinstance(row[length - 1], str):
        length -= 1
    return row[:length]
