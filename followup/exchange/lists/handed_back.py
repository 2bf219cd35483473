"""The rows that were not stored, as the same kind of file, each with its reason."""

from __future__ import annotations

from collections.abc import Iterable

from followup.exchange.lists.mapping import Heading
from followup.exchange.lists.reading import TableRow
from followup.exchange.lists.table import FileForm, Table
from followup.exchange.lists.writing import written

REASON = "Why this row was not stored"


def handed_back(
    table: Table, heading: Heading, form: FileForm, rows: Iterable[tuple[TableRow, str]]
) -> bytes:
    """The heading as it was, then the rows in their order with the reason in a column of its own.

    Corrected, the file can be handed in as it is: the column is no column of any mapping, and a second time
    it holds the new reasons.
    """
    names = list(table.rows[heading.row - 1])
    at = names.index(REASON) if REASON in names else len(names)
    lines = [(*names[:at], REASON)]
    for row, why in sorted(rows, key=lambda each: each[0].number):
        cells = [*row.cells[:at], *("" for _ in range(at - len(row.cells)))]
        lines.append((*cells, why))
    return written(Table(table.name, tuple(lines)), form)
