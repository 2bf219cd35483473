"""A workbook's package looked over before anybody unpacks it: how large, how far, whether whole.

What reads it afterwards takes memory for every cell up to the last one, so a file of a few bytes could ask
for all there is. Here the parts go by in pieces, and nothing of them is kept.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from xml.parsers import expat

from followup.errors import FollowupError
from followup.exchange.lists.table import (
    MOST_COLUMNS,
    MOST_ROWS,
    MOST_UNPACKED,
    Kind,
    refused,
    too_far,
)
from followup.said import say

_PIECE = 1 << 16
_MOST_PARTS = 2_000
_MOST_CELLS = 1_000_000
"""Of all sheets together: looking at more takes seconds in which others wait."""
_ODS = b"application/vnd.oasis.opendocument.spreadsheet"
_CELL = re.compile(r"([A-Z]{1,3})(\d{1,7})")
Attributes = dict[str, str]


@dataclass
class LookedOver:
    """What the package is, how many cells it holds, and for each sheet that names them the first cells of
    merged ones."""

    kind: Kind
    merged: dict[str, list[tuple[int, int]]] = field(default_factory=dict)
    cells: int = 0

    def one_more(self, name: str) -> None:
        """Count a cell."""
        self.cells += 1
        if self.cells > _MOST_CELLS:
            raise refused(
                "size",
                say("the workbook holds more than {most} cells", most=_MOST_CELLS),
                name,
                say("keep the list alone in it, or cut it into several"),
            )


def looked_over(content: bytes, name: str) -> LookedOver:
    """Errors ``list.broken`` (not whole), ``list.kind``, ``list.macros``, ``list.locked``, ``list.size``."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            return _look_over(package, name)
    except (zipfile.BadZipFile, zlib.error, EOFError, LookupError, NotImplementedError, ValueError, OSError):
        raise broken(name) from None


def broken(name: str, part: str = "") -> FollowupError:
    """The error for a workbook that can't be unpacked or read."""
    what = (
        say("the workbook is damaged in its part {part}", part=part)
        if part
        else say("the workbook is damaged, or was not written to its end")
    )
    return refused("broken", what, name, say("open it in the spreadsheet program and save it again"))


def _look_over(package: zipfile.ZipFile, name: str) -> LookedOver:
    parts = package.infolist()
    if len(parts) > _MOST_PARTS or sum(part.file_size for part in parts) > MOST_UNPACKED:
        raise refused(
            "size",
            say("the workbook unpacks to more than {most} MB", most=MOST_UNPACKED // 1_000_000),
            name,
            say("keep the list alone in it, without pictures, and save it again"),
        )
    found = LookedOver(_kind_of(package, name))
    for part in parts:
        _no_macros(part.filename, name)
        sheet = part.filename.startswith("xl/worksheets/") or part.filename == "content.xml"
        if part.filename.endswith((".xml", ".rels")):
            # Read to its end either way: only then is it known to be as long as it says.
            _read_part(package, part, name, _reader(found, name) if sheet else None)
    return found


def _kind_of(package: zipfile.ZipFile, name: str) -> Kind:
    names = set(package.namelist())
    if any(part.flag_bits & 1 for part in package.infolist()):
        raise _locked(name)
    if "mimetype" in names and package.read("mimetype").strip() == _ODS:
        if b"encryption-data" in package.read("META-INF/manifest.xml"):
            raise _locked(name)
        return "ods"
    if "xl/workbook.xml" in names:
        return "xlsx"
    raise refused(
        "kind", say("this is no table that can be read"), name, say("save it as CSV, as XLSX or as ODS")
    )


def _locked(name: str) -> FollowupError:
    return refused(
        "locked", say("the workbook asks for a password"), name, say("save it without the password")
    )


def _no_macros(part: str, name: str) -> None:
    if part.endswith("vbaProject.bin") or part.startswith(("Basic/", "Scripts/", "xl/macrosheets/")):
        raise refused(
            "macros",
            say("the workbook carries macros, which are programs"),
            name,
            say("save it as a workbook without macros, such as .xlsx"),
        )


def _read_part(
    package: zipfile.ZipFile, part: zipfile.ZipInfo, name: str, reader: Callable[..., None] | None
) -> None:
    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = _no_types
    if reader:
        parser.StartElementHandler = reader
    with package.open(part) as stream:
        try:
            while piece := stream.read(_PIECE):
                parser.Parse(piece, False)
            parser.Parse(b"", True)
        except expat.ExpatError:
            raise broken(name, part.filename) from None


def _no_types(*_told: object) -> None:
    # Neither standard has any in its parts; what they can define grows without end.
    raise expat.ExpatError("a document type")


def _reader(found: LookedOver, name: str) -> Callable[[str, Attributes], None]:
    return _OfXlsx(found, name).start if found.kind == "xlsx" else _OfOds(found, name).start


@dataclass
class _OfXlsx:
    """Where a cell with something in it stands (ECMA-376, 18.3.1.4)."""

    found: LookedOver
    name: str
    at: tuple[int, int] = (1, 0)

    def start(self, tag: str, told: Attributes) -> None:
        tag = tag.rpartition(":")[2]
        if tag == "row":
            self.at = (int(told["r"]), 0) if "r" in told else (self.at[0] + 1, 0)
        elif tag == "c":
            self.found.one_more(self.name)
            cell = _CELL.fullmatch(told.get("r", ""))
            self.at = (int(cell[2]), _column(cell[1])) if cell else (self.at[0], self.at[1] + 1)
        elif tag in ("v", "is", "f") and not (self.at[0] <= MOST_ROWS and self.at[1] <= MOST_COLUMNS):
            raise too_far(self.name, *self.at)


def _column(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number


@dataclass
class _OfOds:
    """Where a cell with something in it stands, and which are merged (OpenDocument 1.3, 9.1)."""

    found: LookedOver
    name: str
    sheet: str = ""
    next_row: int = 1
    row: int = 0
    last_row: int = 0
    column: int = 0
    last_column: int = 0

    def start(self, tag: str, told: Attributes) -> None:
        tag = tag.rpartition(":")[2]
        told = {key.rpartition(":")[2]: value for key, value in told.items()}
        if tag == "table":
            self.sheet, self.next_row = told.get("name", ""), 1
            self.found.merged.setdefault(self.sheet, [])
        elif tag == "table-row":
            self.row, self.column = self.next_row, 0
            self.next_row += _times(told, "number-rows-repeated")
            self.last_row, self.last_column = self.next_row - 1, 0
        elif tag in ("table-cell", "covered-table-cell"):
            self.found.one_more(self.name)
            first = self.last_column + 1
            self.column, self.last_column = first, self.last_column + _times(told, "number-columns-repeated")
            if _times(told, "number-columns-spanned") > 1 or _times(told, "number-rows-spanned") > 1:
                self.found.merged[self.sheet].append((self.row, first))
            if "value-type" in told:
                self._bounded()
        elif tag == "p" and self.column:
            self._bounded()

    def _bounded(self) -> None:
        if self.last_row > MOST_ROWS or self.last_column > MOST_COLUMNS:
            raise too_far(self.name, self.last_row, self.last_column)


def _times(told: Attributes, name: str) -> int:
    return max(int(told.get(name, "1")[:9]), 1)
