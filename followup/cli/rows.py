"""The rows of a file to import: operative records and expected operations, each checked by itself."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from followup.care.records.importing import ListedRow
from followup.cells import unguarded
from followup.clinical.record import Record, first_problem, parse_json_object, parse_record
from followup.errors import FollowupError

MOST_BYTES, MOST_ROWS = 50_000_000, 5_000
COLUMNS = ("on", "code", "name", "eye")


@dataclass(frozen=True)
class Row:
    """A row of the file: its number from 1, its text as it stood there, and what it says.

    ``says`` is the reason in one line where the row can't be understood.
    """

    number: int
    text: str
    says: Record | ListedRow | str


def rows_of(content: bytes, name: str) -> list[Row]:
    """Every row of a file. Error ``import.*`` where the file as a whole can't be taken."""
    read = _from_table if name.casefold().endswith(".csv") else _from_lines
    found: list[Row] = []
    for number, text, data in read(content, name):
        if len(found) == MOST_ROWS:
            raise FollowupError(
                "import.size", f"more than {MOST_ROWS} rows", where=name, fix="cut the file into several"
            )
        found.append(Row(number, text, _understood(data, f"row {number}")))
    if not found:
        raise FollowupError("import.empty", "the file holds no rows", where=name, fix="give another file")
    return found


def _from_lines(content: bytes, _name: str) -> Iterator[tuple[int, str, dict[str, Any] | str]]:
    """One JSON object a line; empty lines are left out."""
    for number, line in enumerate(content.removeprefix(b"\xef\xbb\xbf").split(b"\n"), 1):
        if not line.strip():
            continue
        text = line.decode("utf-8", "backslashreplace").strip()
        try:
            yield number, text, parse_json_object(line.decode("utf-8"), f"row {number}")
        except UnicodeDecodeError:
            yield number, text, f"row {number}: not UTF-8 text - save the file as UTF-8"
        except FollowupError as error:
            yield number, text, error.line


def _from_table(content: bytes, name: str) -> Iterator[tuple[int, str, dict[str, Any] | str]]:
    """Expected operations as a table with the four columns, in any order; rows are counted as lines."""
    try:
        table = list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error):
        raise FollowupError(
            "import.table", "not a CSV table in UTF-8", where=name, fix="save it as CSV in UTF-8"
        ) from None
    head = [cell.strip().casefold() for cell in table[0]] if table else []
    if sorted(head) != sorted(COLUMNS):
        raise FollowupError(
            "import.columns",
            "the first line must name the columns on, code, name and eye",
            where=name,
            fix="name these four, separated by commas",
        )
    for number, cells in enumerate(table[1:], 2):
        if not any(cell.strip() for cell in cells):
            continue
        text = json.dumps(cells, ensure_ascii=False)
        fits = len(cells) == len(head)
        said = [unguarded(cell) for cell in cells]
        yield number, text, dict(zip(head, said, strict=True)) if fits else f"row {number}: not four cells"


def _understood(data: dict[str, Any] | str, source: str) -> Record | ListedRow | str:
    if isinstance(data, str):
        return data
    try:
        if "patient" in data or "operations" in data:
            return parse_record(data, source)
        return ListedRow.model_validate(data)
    except ValidationError as exc:
        return first_problem(exc, source).line
    except FollowupError as error:
        return error.line
