"""Tables as text: commas, semicolons or tabs, in whichever letters a spreadsheet saved them."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

from followup.cells import unguarded
from followup.exchange.lists.table import MOST_ROWS, FileForm, Sheets, Table, bounded, refused, too_many_rows
from followup.said import say
from followup.typed import typed

_DELIMITERS = (",", ";", "\t")
# Spreadsheets write this line so that others know; RFC 4180 has nothing of the kind.
_SAYS_DELIMITER = "sep="
_BOMS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))


def read_text_table(content: bytes, name: str) -> Sheets:
    """The one table of a text file. Errors ``list.letters``, ``list.broken``, ``list.size``."""
    text, encoding = _decoded(content, name)
    said, text = _said_delimiter(text)
    delimiter = said or _delimiter_of(text)
    rows: list[tuple[str, ...]] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    for row in _read(reader, name):
        if len(rows) > MOST_ROWS:
            raise too_many_rows(name)
        rows.append(tuple(unguarded(cell.replace("\r\n", "\n")) for cell in row))
    while rows and not any(cell.strip() for cell in rows[-1]):
        rows.pop()
    # Not cut to its cells: a row that is shorter than its heading was not written to its end.
    bounded(Table("", tuple(rows)), name)
    return Sheets(FileForm("csv", delimiter, encoding), (Table("", tuple(rows)),))


def read_as(form: FileForm) -> str:
    """In which letters and with what between its cells a text was read, a guess told as one; empty for a
    workbook."""
    if form.kind != "csv":
        return ""
    sign = say("tab") if form.delimiter == "\t" else typed(form.delimiter)
    if form.encoding == "cp1252":
        return say(
            "The letters were guessed: Western Windows (cp1252), with {sign} between cells. "
            "See whether the names are right.",
            sign=sign,
        )
    letters = "UTF-16" if form.encoding == "utf-16" else "UTF-8"
    return say("Read as {letters}, with {sign} between cells.", letters=typed(letters), sign=sign)


def _read(reader: Iterator[list[str]], name: str) -> Iterator[list[str]]:
    number = 0
    while True:
        number += 1
        try:
            yield next(reader)
        except StopIteration:
            return
        except csv.Error:
            raise refused(
                "broken",
                say("row {row} has a quotation mark that is not closed, or closed too early", row=number),
                name,
                say("save the table again; it may not have been written to its end"),
            ) from None


def _decoded(content: bytes, name: str) -> tuple[str, str]:
    """The text and what it was written in: by its mark, else UTF-8, else the letters of Western Windows."""
    encoding = next((known for mark, known in _BOMS if content.startswith(mark)), "")
    for tried in [encoding] if encoding else ["utf-8", "cp1252"]:
        try:
            text = content.decode(tried)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text, tried
    raise refused(
        "letters",
        say("this is no table, or its letters can't be read"),
        name,
        say("save it as CSV in UTF-8, as XLSX or as ODS"),
    )


def _said_delimiter(text: str) -> tuple[str, str]:
    head, _, rest = text.partition("\n")
    said = head.strip("\r ")
    if said.casefold().startswith(_SAYS_DELIMITER) and len(said) == len(_SAYS_DELIMITER) + 1:
        return said[-1], rest
    return "", text


def _delimiter_of(text: str) -> str:
    """The sign that stands most often outside quotation marks in the first row that has any."""
    for line in _first_rows(text):
        counts = {sign: line.count(sign) for sign in _DELIMITERS}
        if any(counts.values()):
            return max(_DELIMITERS, key=lambda sign: counts[sign])
    return ","


def _first_rows(text: str, most: int = 20) -> Iterator[str]:
    """The first rows with what stands in quotation marks left out."""
    inside, bare, count = False, "", 0
    for sign in text[:200_000]:
        if sign == '"':
            inside = not inside
        elif sign == "\n" and not inside:
            yield bare
            bare, count = "", count + 1
            if count == most:
                return
        elif not inside:
            bare += sign
    yield bare
