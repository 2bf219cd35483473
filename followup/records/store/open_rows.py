"""Rows of the store as plain values of JSON, out and in: what an open archive of the clinic is made of."""

from __future__ import annotations

import inspect
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import islice
from typing import Any, Literal

from sqlalchemy import Column as SqlColumn
from sqlalchemy import Connection, MetaData, Table, TypeDecorator, insert
from sqlalchemy.exc import SQLAlchemyError

from followup.errors import FollowupError
from followup.records import tables as every_table
from followup.records.store.copying import NOT_CARRIED, batches, carried_tables

Kind = Literal["whole number", "number", "text", "yes or no", "day", "instant", "any"]
_KINDS: Mapping[type, Kind] = {
    bool: "yes or no",
    int: "whole number",
    float: "number",
    str: "text",
    date: "day",
    datetime: "instant",
    object: "any",
}
_ROWS = 500
# Log-ins that are open are nobody's to hand on.
_WITHHELD = frozenset({"login_session"})
# What would let somebody in stays here; what stands in its place lets nobody in.
_EMPTIED: Mapping[str, Mapping[str, object]] = {
    "staff": {"password_hash": "", "second_key": "", "second_since": None, "second_step": 0}
}


@dataclass(frozen=True)
class OpenColumn:
    """One value of a row. ``points_to``: "table.column" of the row that it names; empty: of none."""

    name: str
    kind: Kind
    optional: bool
    points_to: str = ""


@dataclass(frozen=True)
class OpenTable:
    """What one kind of row holds; ``about`` says what it is for, in the words of the program's own source."""

    name: str
    about: str
    columns: tuple[OpenColumn, ...]


@dataclass(frozen=True)
class Line:
    """A row as a file gives it: ``place`` names file and line."""

    place: str
    row: Mapping[str, object]


def open_tables() -> tuple[OpenTable, ...]:
    """Every table that is handed on, in an order in which each row comes after those that it points to."""
    return tuple(_open(table) for table in _handed_on())


def rows_out(connection: Connection, name: str) -> Iterator[dict[str, object]]:
    """The rows of one table, read as they go, without what would let somebody in."""
    table = next(table for table in _handed_on() if table.name == name)
    kept = [column.name for column in _open(table).columns]
    for rows in batches(connection, table):
        for row in rows:
            yield {key: _out(row[key]) for key in kept}


def rows_in(connection: Connection, contents: Iterable[tuple[str, Iterable[Line]]]) -> None:
    """Fill the tables of a database whose schema may be an older one, in one transaction of the caller's.

    Errors: ``archive.table`` (a table too many or missing), ``archive.row`` with the place of the line.
    """
    found = MetaData()
    found.reflect(connection)
    missing = {table for table in found.tables if table not in _no_clinics()}
    for name, lines in contents:
        if name not in missing:
            raise _wrong("archive.table", f"there is no table {name} at this step of the schema, or twice")
        missing.remove(name)
        _fill(connection, found.tables[name], lines)
    if missing:
        raise _wrong("archive.table", f"the table {min(missing)} is missing")


def _handed_on() -> list[Table]:
    return [table for table in carried_tables() if table.name not in _WITHHELD]


def _no_clinics() -> set[str]:
    """Tables of the database that hold nothing of the clinic."""
    return {"alembic_version", *NOT_CARRIED, *_WITHHELD}


def _open(table: Table) -> OpenTable:
    emptied = _EMPTIED.get(table.name, {})
    kept = tuple(_column(column) for column in table.columns if column.name not in emptied)
    return OpenTable(table.name, _about().get(table.name, ""), kept)


def _column(column: SqlColumn[Any]) -> OpenColumn:
    named = sorted(f"{key.column.table.name}.{key.column.name}" for key in column.foreign_keys)
    kept = column.type.impl_instance if isinstance(column.type, TypeDecorator) else column.type
    return OpenColumn(column.name, _KINDS[kept.python_type], bool(column.nullable), named[0] if named else "")


def _about() -> dict[str, str]:
    """What each table is for, by its name."""
    rows = [one for one in vars(every_table).values() if hasattr(one, "__tablename__")]
    return {one.__tablename__: " ".join((inspect.getdoc(one) or "").split()) for one in rows}


def _fill(connection: Connection, table: Table, lines: Iterable[Line]) -> None:
    emptied = _EMPTIED.get(table.name, {})
    columns = [one for one in map(_column, table.columns) if one.name not in emptied]
    # The first site is there in every new database.
    if table.name == "site":
        connection.execute(table.delete())
    coming = iter(lines)
    while some := list(islice(coming, _ROWS)):
        rows = [{**_in(line, columns), **emptied} for line in some]
        try:
            with connection.begin_nested():
                connection.execute(insert(table), rows)
        except (SQLAlchemyError, ValueError, OverflowError):
            _name_the_first(connection, table, some, rows)


def _name_the_first(
    connection: Connection, table: Table, lines: list[Line], rows: list[dict[str, object]]
) -> None:
    for line, row in zip(lines, rows, strict=True):
        try:
            with connection.begin_nested():
                connection.execute(insert(table), row)
        except (SQLAlchemyError, ValueError, OverflowError):
            raise _wrong(
                "archive.row", "the row breaks a rule of its table, or is there twice", line.place
            ) from None


def _out(value: Any) -> object:
    return value.isoformat() if isinstance(value, date) else value


def _in(line: Line, columns: list[OpenColumn]) -> dict[str, object]:
    """A row as the database takes it. Error ``archive.row`` names the column."""
    names = {column.name for column in columns}
    if names != set(line.row):
        odd = min(names ^ set(line.row))
        what = f"the column {odd} is missing" if odd in names else f"there is no column {odd[:60]}"
        raise _wrong("archive.row", what, line.place)
    return {column.name: _value(line, column) for column in columns}


def _value(line: Line, column: OpenColumn) -> object:
    value = line.row[column.name]
    if value is None and column.optional:
        return None
    try:
        return _read(value, column.kind)
    except (ValueError, TypeError):
        raise _wrong("archive.row", f"the column {column.name} holds no {column.kind}", line.place) from None


def _read(value: object, kind: Kind) -> object:
    """The value as SQLite's own types keep it. ValueError or TypeError where it is none of this kind."""
    if kind == "any":
        return value
    if kind == "day" and isinstance(value, str):
        return date.fromisoformat(value)
    if kind == "instant" and isinstance(value, str):
        at = datetime.fromisoformat(value)
        if at.tzinfo is None:
            raise ValueError
        return at.astimezone(UTC).replace(tzinfo=None)
    if kind == "number" and isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    wanted = {"whole number": int, "yes or no": bool, "text": str}.get(kind)
    if type(value) is not wanted:
        raise TypeError
    return value


def _wrong(code: str, what: str, where: str = "") -> FollowupError:
    return FollowupError(code, what, where=where, fix="take another archive; nothing was stored")
