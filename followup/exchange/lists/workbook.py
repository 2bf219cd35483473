"""Tables of workbooks (XLSX, ODS), and of any file by what it holds, not by how it is called."""

from __future__ import annotations

import io
from collections.abc import Iterable
from datetime import timedelta

import python_calamine

from followup.cells import unguarded
from followup.exchange.lists.package import broken, looked_over
from followup.exchange.lists.table import (
    MOST_BYTES,
    Cell,
    FileForm,
    Sheets,
    Table,
    bounded,
    refused,
)
from followup.exchange.lists.text import read_text_table
from followup.said import say

_PACKED = b"PK\x03\x04"
# The container of workbooks from before 2007, and of those that ask for a password.
_OLD = b"\xd0\xcf\x11\xe0"


def read_file(content: bytes, name: str) -> Sheets:
    """All tables of a file. ``name`` is what it is called in errors, which are all ``list.*``."""
    if len(content) > MOST_BYTES:
        raise refused(
            "size",
            say("larger than {most} MB", most=MOST_BYTES // 1_000_000),
            name,
            say("keep the list alone in it, or cut it into several"),
        )
    if content.startswith(_OLD):
        raise refused(
            "kind",
            say("the workbook is of an old kind, or asks for a password"),
            name,
            say("save it as XLSX, without a password"),
        )
    return _workbook(content, name) if content.startswith(_PACKED) else read_text_table(content, name)


def _workbook(content: bytes, name: str) -> Sheets:
    seen = looked_over(content, name)
    try:
        with python_calamine.load_workbook(io.BytesIO(content)) as book:
            tables = tuple(
                bounded(_table(book.get_sheet_by_name(sheet), seen.merged.get(sheet, ())), name)
                for sheet in book.sheet_names
            )
    except python_calamine.CalamineError:
        raise broken(name) from None
    return Sheets(FileForm(seen.kind), tables)


def _table(sheet: python_calamine.CalamineSheet, merged: Iterable[tuple[int, int]]) -> Table:
    rows = tuple(tuple(_cell(cell) for cell in row) for row in sheet.to_python(skip_empty_area=False))
    told = [(first[0] + 1, first[1] + 1) for first, _ in sheet.merged_cell_ranges or ()]
    return Table(sheet.name, rows, tuple(sorted([*merged, *told])))


def _cell(told: Cell | timedelta) -> Cell:
    if isinstance(told, timedelta):
        minutes, seconds = divmod(int(told.total_seconds()), 60)
        return f"{minutes // 60:02}:{minutes % 60:02}:{seconds:02}"
    return unguarded(told.replace("\r\n", "\n")) if isinstance(told, str) else told
