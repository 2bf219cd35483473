"""The rows of a table, each cell read to a value of its field or to the reason why it is none."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time

from followup.exchange.lists.mapping import Asked, Heading, ListMapping, folded
from followup.exchange.lists.table import Cell, FileForm, Table
from followup.said import MONTHS, Said, say
from followup.typed import typed

_SEPARATED = re.compile(r"(\d{1,4})[-/. ](\d{1,2})[-/. ](\d{1,4})")
# What computers write: the day alone or at some time of it.
_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d+)?)?)?")
_NAMED = re.compile(r"(\d{1,2})[-/. ]*([A-Za-z]{3,9})[-/., ]*(\d{4})")
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::\d{2})?")
# The errors that a spreadsheet shows in a cell (OpenDocument 1.3 part 4, 5.12; ECMA-376 part 1, 18.17.3).
_ERRORS = re.compile(r"#(N/A|REF!|VALUE!|DIV/0!|NAME\?|NUM!|NULL!|GETTING_DATA|SPILL!|CALC!)|Err:\d{3}")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_YES_NO = {"yes": "yes", "no": "no", "true": "yes", "false": "no"}
_SHOWN = 60


@dataclass(frozen=True)
class TableRow:
    """One row: its number as the spreadsheet counts, its cells as they came, and the ``values`` that it
    gives as the record's form has them, by field. ``why``: what keeps it from being read, or empty; then only
    those cells have a value that could be read."""

    number: int
    cells: tuple[Cell, ...]
    values: Mapping[str, str]
    why: str = ""


def rows_of_table(
    table: Table, heading: Heading, mapping: ListMapping, asked: Mapping[str, Asked], form: FileForm
) -> Iterator[TableRow]:
    """Every row under the heading that holds anything."""
    words = {
        field: {folded(word): value for word, value in own.items()} for field, own in mapping.words.items()
    }
    width = len(table.rows[heading.row - 1])
    for number, cells in enumerate(table.rows[heading.row :], heading.row + 1):
        if not any(_is_there(cell) for cell in cells):
            continue
        if form.kind == "csv" and len(cells) < width:
            why = say("{cells} cells where the heading has {width}", cells=len(cells), width=width)
            yield TableRow(number, cells, {}, why)
            continue
        yield _row(number, cells, heading, mapping, asked, words)


def _is_there(cell: Cell) -> bool:
    return not isinstance(cell, str) or bool(cell.strip())


def _row(
    number: int,
    cells: tuple[Cell, ...],
    heading: Heading,
    mapping: ListMapping,
    asked: Mapping[str, Asked],
    words: Mapping[str, Mapping[str, str]],
) -> TableRow:
    values: dict[str, str] = {}
    wrong: list[str] = []
    for field, at in heading.at.items():
        cell = cells[at] if at < len(cells) else ""
        try:
            values[field] = _value(cell, asked[field], words.get(field, {}), mapping)
        except _NoValueError as exc:
            wrong.append(at_column(mapping.columns[field], exc.why))
    return TableRow(number, cells, values, wrong[0] if wrong else "")


def at_column(column: str, why: str) -> Said:
    """What is wrong, with the column in which it stands."""
    return say("column {column}: {why}", column=typed(column), why=why)


class _NoValueError(Exception):
    def __init__(self, why: str) -> None:
        self.why = why


def _value(cell: Cell, asked: Asked, words: Mapping[str, str], mapping: ListMapping) -> str:
    """What the record's form would hold; empty where nothing stands there."""
    if isinstance(cell, str):
        cell = cell.strip()
        if _ERRORS.fullmatch(cell):
            raise _NoValueError(say("an error of the spreadsheet: {cell}", cell=typed(cell)))
        if _CONTROL.search(cell):
            raise _NoValueError(say("a sign that can't be read"))
        if not cell:
            return ""
    own = words.get(folded(_shown(cell)))
    if own is not None:
        return own
    return _READERS.get(asked.kind, _line)(cell, asked, mapping)


def _line(cell: Cell, asked: Asked, mapping: ListMapping) -> str:
    if isinstance(cell, (bool, date, time)):
        raise _NoValueError(say("{cell} is no text", cell=typed(_shown(cell))))
    return _shown(cell)


def _choice(cell: Cell, asked: Asked, mapping: ListMapping) -> str:
    said = folded(_shown(cell))
    for choice in asked.choices:
        if folded(choice) == said:
            return choice
    raise _NoValueError(
        say(
            "{cell} is none of {choices}, and the mapping does not say what it means",
            cell=typed(_short(cell)),
            choices=", ".join(asked.choices),
        )
    )


def _choices(cell: Cell, asked: Asked, mapping: ListMapping) -> str:
    return ", ".join(
        _choice(part.strip(), asked, mapping) for part in _shown(cell).split(",") if part.strip()
    )


def _yes_no(cell: Cell, asked: Asked, mapping: ListMapping) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if (said := _YES_NO.get(folded(_shown(cell)))) is not None:
        return said
    raise _NoValueError(
        say(
            "{cell} is neither yes nor no, and the mapping does not say what it means",
            cell=typed(_short(cell)),
        )
    )


def _number(cell: Cell, asked: Asked, mapping: ListMapping) -> str:
    if isinstance(cell, (bool, date, time)):
        raise _NoValueError(say("{cell} is no number", cell=typed(_shown(cell))))
    text = _shown(cell)
    if re.fullmatch(r"[+-]?\d{1,3},\d{3}", text):
        raise _NoValueError(say("{cell} can be read in two ways; write it with a point", cell=typed(text)))
    # A comma as most of Europe writes it.
    return text.replace(",", ".") if re.fullmatch(r"[+-]?\d+,\d+", text) else text


def _clock(cell: Cell, asked: Asked, mapping: ListMapping) -> str:
    if isinstance(cell, (time, datetime)):
        return cell.strftime("%H:%M")
    told = _CLOCK.fullmatch(_shown(cell))
    if told and int(told[1]) < 24 and int(told[2]) < 60:
        return f"{int(told[1]):02}:{told[2]}"
    raise _NoValueError(say("{cell} is no time such as 08:30", cell=typed(_short(cell))))


def _day(cell: Cell, asked: Asked, mapping: ListMapping) -> str:
    """A cell that is a day is that day; text is read one way or not at all."""
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    if not isinstance(cell, str):
        raise _NoValueError(say("{cell} is no day", cell=typed(_short(cell))))
    readings = sorted(set(_readings(cell, mapping)))
    if not readings:
        raise _NoValueError(
            say(
                "{cell} is no day; write it as 2026-04-03, or as a day of the spreadsheet",
                cell=typed(_short(cell)),
            )
        )
    if len(readings) > 1:
        raise _NoValueError(
            say(
                "{cell} can be {one} or {other}; say in the mapping in which order days are written",
                cell=typed(_short(cell)),
                one=readings[0],
                other=readings[1],
            )
        )
    return readings[0].isoformat()


def _readings(text: str, mapping: ListMapping) -> Iterator[date]:
    """Every day that the text could be."""
    if told := _ISO.fullmatch(text):
        yield from _real(int(told[1]), int(told[2]), int(told[3]))
    elif told := _NAMED.fullmatch(text):
        months = [n for n, month in enumerate(MONTHS, 1) if told[2].casefold() in _short_and_long(month)]
        for month in months:
            yield from _real(int(told[3]), month, int(told[1]))
    elif told := _SEPARATED.fullmatch(text):
        for order in [mapping.day_order] if mapping.day_order else _ORDERS:
            parts = [told[1 + at] for at in _ORDERS[order]]
            if len(parts[0]) == 4 and len(parts[2]) < 3:
                yield from _real(int(parts[0]), int(parts[1]), int(parts[2]))


# Where year, month and day stand among the three.
_ORDERS = {"day month year": (2, 1, 0), "month day year": (2, 0, 1), "year month day": (0, 1, 2)}


def _short_and_long(month: str) -> tuple[str, ...]:
    return month.casefold(), month.casefold()[:3], *(("sept",) if month == "September" else ())


def _real(year: int, month: int, day: int) -> Iterator[date]:
    try:
        yield date(year, month, day)
    except ValueError:
        return


def _shown(cell: Cell) -> str:
    """What stands in the cell, on as many lines as it has."""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        # A number of a spreadsheet has 15 digits that mean something.
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else f"{cell:.15g}"
    if isinstance(cell, (datetime, date, time)):
        return cell.isoformat()
    return str(cell)


def _short(cell: Cell) -> str:
    return " ".join(_shown(cell).split())[:_SHOWN]


_READERS: dict[str, Callable[[Cell, Asked, ListMapping], str]] = {
    "date": _day,
    "clock": _clock,
    "number": _number,
    "yes-no": _yes_no,
    "one of": _choice,
    "some of": _choices,
}
