"""How a clinic's own table is read: which of its columns is what, and what its words mean.

Nothing is read by a guess: what is guessed here is shown to a person, who keeps or changes it.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from followup.errors import FollowupError
from followup.exchange.lists.table import Cell, Table
from followup.said import say
from followup.typed import typed

ON, CODE, NAME, EYE = "on", "code", "name", "eye"
LISTED = (ON, CODE, NAME, EYE)
"""The columns of a day's list; every table must have them."""
EYE_AGAIN = "operations.0.eye_drawn"
"""The eye told a second time, apart from the first: a record takes no eye that was told once."""
DayOrder = Literal["day month year", "month day year", "year month day"]
DAY_ORDERS: tuple[DayOrder, ...] = ("day month year", "month day year", "year month day")
MOST_HEADINGS = 20
"""Rows: a heading stands no further down."""

_Word = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]


@dataclass(frozen=True)
class Asked:
    """A field that a column may be: its ``kind`` as the record's form has it, and the words it takes."""

    kind: str
    choices: tuple[str, ...] = ()


class ListMapping(BaseModel):
    """``columns``: the clinic's own name of each column, by field. ``words``: by field what its own words
    mean. ``day_order``: how days that are written as text are to be read. ``sheet``: which one of several.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    columns: Annotated[dict[_Word, _Word], Field(max_length=100)]
    words: Annotated[dict[_Word, dict[_Word, _Word]], Field(max_length=100)] = {}
    day_order: DayOrder | None = None
    sheet: Annotated[str, StringConstraints(strip_whitespace=True, max_length=200)] = ""

    @property
    def makes_records(self) -> bool:
        """Whether its rows tell more than a day's list does."""
        return any(field not in LISTED for field in self.columns)


def folded(text: str) -> str:
    """A heading or a word as it is compared: without case, doubled blanks, dots and a colon at its end.

    >>> folded("  Pt.  Name : ")
    'pt name'
    """
    return " ".join(text.casefold().replace(".", " ").split()).rstrip(": ")


def checked_mapping(mapping: ListMapping, asked: Mapping[str, Asked]) -> ListMapping:
    """The mapping, if it can be read by. Errors ``mapping.*``, each naming the field or the column."""
    for field in LISTED:
        if field not in mapping.columns:
            raise _wrong("missing", say("no column is the field {field}", field=field), "columns")
    for field in {**mapping.columns, **mapping.words}:
        if field not in asked:
            raise _wrong("field", say("there is no field {field}", field=typed(field)), "columns")
    told: dict[str, str] = {}
    for field, column in mapping.columns.items():
        if (other := told.setdefault(folded(column), field)) != field:
            what = say(
                "the column {column} is {one} and {other}", column=typed(column), one=other, other=field
            )
            raise _wrong("twice", what, "columns")
    if mapping.makes_records and EYE_AGAIN not in mapping.columns:
        raise _wrong(
            "eye",
            say(
                "a record needs the eye told a second time, in a column of its own: {field}", field=EYE_AGAIN
            ),
            "columns",
        )
    for field, words in mapping.words.items():
        for word, value in words.items():
            if asked[field].choices and value not in asked[field].choices:
                what = say("{word} can't mean {value}", word=typed(word), value=typed(value))
                raise _wrong("word", what, say("words of {field}", field=field))
    return mapping


def _wrong(code: str, what: str, where: str) -> FollowupError:
    return FollowupError(f"mapping.{code}", what, where=where, fix=say("correct the mapping"))


@dataclass(frozen=True)
class Heading:
    """Where the heading stands: its row, from 1, and the number of each field's column, from 0."""

    row: int
    at: Mapping[str, int]


def sheet_and_heading(tables: Iterable[Table], mapping: ListMapping, name: str) -> tuple[Table, Heading]:
    """The one table that has the mapping's columns, and where.

    Errors: ``list.sheet`` (no such sheet, or several that would do), ``list.columns`` (which are missing),
    ``list.double`` (a column that stands twice), ``list.merged``.
    """
    some = [table for table in tables if not mapping.sheet or folded(table.name) == folded(mapping.sheet)]
    if not some:
        raise _refused(
            "sheet",
            say("there is no sheet {sheet}", sheet=typed(mapping.sheet)),
            name,
            say("name another sheet"),
        )
    found = [(table, heading) for table in some if (heading := _heading(table, mapping))]
    if not found:
        raise _missing(some, mapping, name)
    if len(found) > 1:
        sheets = ", ".join(typed(table.name) for table, _ in found)
        raise _refused(
            "sheet",
            say("several sheets have these columns: {sheets}", sheets=sheets),
            name,
            say("name the sheet in the mapping"),
        )
    table, heading = found[0]
    _only_once(table, heading, mapping, name)
    return table, heading


def _heading(table: Table, mapping: ListMapping) -> Heading | None:
    for number, row in enumerate(table.rows[:MOST_HEADINGS], 1):
        names = _names(row)
        if all(folded(column) in names for column in mapping.columns.values()):
            return Heading(number, {f: names.index(folded(c)) for f, c in mapping.columns.items()})
    return None


def _names(row: Iterable[Cell]) -> list[str]:
    return [folded(cell) if isinstance(cell, str) else "" for cell in row]


def _missing(tables: list[Table], mapping: ListMapping, name: str) -> FollowupError:
    """Which columns are not there, in the row that has most of them."""
    rows = [_names(row) for table in tables for row in table.rows[:MOST_HEADINGS]]
    wanted = list(mapping.columns.values())
    best = max(rows, key=lambda names: sum(folded(column) in names for column in wanted), default=[])
    gone = ", ".join(typed(column) for column in wanted if folded(column) not in best)
    return _refused(
        "columns",
        say("no row has all columns; these are missing: {columns}", columns=gone),
        name,
        say("name the columns in one row, or correct the mapping"),
    )


def _only_once(table: Table, heading: Heading, mapping: ListMapping, name: str) -> None:
    names = _names(table.rows[heading.row - 1])
    for field, column in mapping.columns.items():
        if names.count(folded(column)) > 1:
            raise _refused(
                "double",
                say("row {row}: the column {column} stands twice", row=heading.row, column=typed(column)),
                name,
                say("rename or delete one"),
            )
        assert field in heading.at
    for row, number in table.merged:
        if row >= heading.row:
            raise _refused(
                "merged",
                say("row {row}, column {column}: cells are merged", row=row, column=number),
                name,
                say("take them apart and fill in each row"),
            )


def _refused(code: str, what: str, name: str, fix: str) -> FollowupError:
    return FollowupError(f"list.{code}", what, where=typed(name), fix=fix)


@cache
def _known() -> tuple[dict[str, list[str]], dict[str, dict[str, str]]]:
    data = tomllib.loads(files("followup.exchange.lists").joinpath("known.toml").read_text("utf-8"))
    words = {
        field: {folded(word): value for value, said in by_value.items() for word in said}
        for field, by_value in data["words"].items()
    }
    words[EYE_AGAIN] = words[EYE]
    return data["columns"], words


def guessed(table: Table, asked: Mapping[str, Asked]) -> tuple[int, ListMapping]:
    """The row that looks most like a heading (from 1) and a mapping by the usual names, to be looked at."""
    columns, _ = _known()
    usual = {folded(name): field for field, names in columns.items() for name in names if field in asked}

    def known_in(row: int) -> int:
        return len({usual[name] for name in _names(table.rows[row - 1]) if name in usual})

    row = max(range(1, min(len(table.rows), MOST_HEADINGS) + 1), key=lambda n: (known_in(n), -n), default=1)
    found: dict[str, str] = {}
    for cell in table.rows[row - 1] if table.rows else ():
        field = usual.get(folded(cell)) if isinstance(cell, str) else None
        if field and field not in found:
            found[field] = re.sub(r"\s+", " ", str(cell)).strip()
    return row, ListMapping.model_construct(columns=found, words=guessed_words(table, row, found, asked))


def fitted(table: Table, mapping: ListMapping) -> tuple[int, int]:
    """How many of the mapping's columns the row that has most of them holds, and that row, from 1."""
    wanted = {folded(column) for column in mapping.columns.values()}
    rows = enumerate((_names(row) for row in table.rows[:MOST_HEADINGS]), 1)
    return max(
        ((len(wanted & set(names)), number) for number, names in rows), key=lambda one: (one[0], -one[1])
    )


def guessed_words(
    table: Table, heading: int, columns: Mapping[str, str], asked: Mapping[str, Asked]
) -> dict[str, dict[str, str]]:
    """What the words of the table that are no words of the record usually mean."""
    _, known = _known()
    found: dict[str, dict[str, str]] = {}
    for field, strange in strange_words(table, heading, columns, asked).items():
        usual = {word: known.get(field, {}).get(folded(word), "") for word in strange}
        if told := {word: value for word, value in usual.items() if value in asked[field].choices}:
            found[field] = told
    return found


MOST_STRANGE = 40


def strange_words(
    table: Table, heading: int, columns: Mapping[str, str], asked: Mapping[str, Asked]
) -> dict[str, list[str]]:
    """By field the words of its column that are none of the record's, each once, at most ``MOST_STRANGE``."""
    names = _names(table.rows[heading - 1]) if table.rows else []
    found: dict[str, list[str]] = {}
    for field, column in columns.items():
        if not (choices := asked[field].choices) or folded(column) not in names:
            continue
        at, own = names.index(folded(column)), {folded(choice) for choice in choices}
        words: dict[str, str] = {}
        for row in table.rows[heading:]:
            cell = row[at] if at < len(row) else ""
            if isinstance(cell, str) and folded(cell) and folded(cell) not in own:
                words.setdefault(folded(cell), " ".join(cell.split()))
        if words:
            found[field] = list(words.values())[:MOST_STRANGE]
    return found
