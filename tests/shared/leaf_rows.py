"""The table of a sheet as a patient reads it: its rows of days with what goes in when, and its visits."""

from __future__ import annotations

from followup.language.direction import without_marks
from followup.sheets.model import DaysLine, RowMark, SheetContent, VisitLine


def plain(text: str) -> str:
    """Without marks of direction; spaces that keep a date on one line are spaces."""
    return without_marks(text).replace("\u00a0", " ").replace("\u2009", " ")


def rows_of_days(content: SheetContent) -> list[DaysLine]:
    return [row for row in content.table.rows if isinstance(row, DaysLine)]


def rows_of_visits(content: SheetContent) -> list[VisitLine]:
    return [row for row in content.table.rows if isinstance(row, VisitLine)]


def dates(content: SheetContent) -> list[str]:
    """The days of each row of days."""
    return [plain(row.dates) for row in rows_of_days(content)]


def visit_days(content: SheetContent) -> list[str]:
    return [plain(row.day) for row in rows_of_visits(content)]


def times(content: SheetContent) -> list[str]:
    """The columns."""
    return [plain(column.time) for column in content.table.columns]


def cell_times(content: SheetContent, mark: RowMark) -> list[str]:
    """The columns in which the mark stands."""
    return [time for time, there in zip(times(content), mark.at, strict=True) if there]


def by_letter(content: SheetContent, row: DaysLine) -> dict[str, list[str]]:
    """Of each bottle, by its letter and the first letter of its eye, the columns in which it stands."""
    return {f"{m.bottle.letter}{(m.bottle.side or '')[:1]}": cell_times(content, m) for m in row.marks}


def home(content: SheetContent) -> dict[str, tuple[str, ...]]:
    """The rules of everyday life by the heading over them."""
    return {plain(group.heading): group.lines for group in content.home}


def told(content: SheetContent) -> str:
    """All rules of everyday life."""
    return " ".join(line for group in content.home for line in group.lines)
