"""Tables in the forms in which they come: what is written is read back, and what is no table is refused."""

from __future__ import annotations

import io
import zipfile
from contextlib import suppress
from datetime import date, datetime, time

import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from followup.errors import FollowupError
from followup.exchange.lists.table import MOST_COLUMNS, MOST_ROWS, FileForm, Table
from followup.exchange.lists.workbook import read_file
from followup.exchange.lists.writing import as_text, written

# What XML can't hold is another matter, and a tab becomes a blank in a workbook (see writing.py).
LETTERS = st.characters(exclude_categories=("Cs", "Cc", "Cn", "Co"))
TEXTS = st.one_of(
    st.text(LETTERS, max_size=20),
    st.lists(st.text(LETTERS, max_size=8), max_size=3).map("\n".join),
    st.sampled_from(
        ["=1+1", "@x", "'=a", "'", "-", "+44", "a;b,c", '"', '""a', " x ", "  ", "sep=;", "TRUE", "1"]
    ),
)
DAYS = st.dates(date(1901, 1, 1), date(2199, 12, 31))
CELLS = st.one_of(
    TEXTS,
    st.integers(-(10**9), 10**9),
    st.floats(-1e9, 1e9, allow_nan=False).map(lambda number: float(f"{number:.12g}")),
    st.booleans(),
    DAYS,
    st.builds(datetime.combine, DAYS, st.times().map(lambda at: at.replace(microsecond=0, second=30))),
    st.times().map(lambda at: at.replace(microsecond=0)),
)
ROWS = st.lists(st.lists(CELLS, max_size=5), max_size=6)


def _without_end(rows):
    """Empty cells at the end of a row and empty rows at the end of a table are not there."""
    found = []
    for row in rows:
        cells = list(row)
        while cells and cells[-1] == "" and isinstance(cells[-1], str):
            cells.pop()
        found.append(tuple(cells))
    while found and not found[-1]:
        found.pop()
    return tuple(found)


@pytest.mark.parametrize("kind", ["xlsx", "ods"])
@given(rows=ROWS)
@settings(max_examples=150, deadline=None)
def test_any_table_survives_a_workbook(kind, rows) -> None:
    sheets = read_file(written(Table("List", tuple(map(tuple, rows))), FileForm(kind)), "list")
    assert (sheets.form.kind, [table.name for table in sheets.tables]) == (kind, ["List"])
    back = sheets.tables[0].rows
    assert back == _without_end(rows)
    assert [[isinstance(c, (bool, str, date, time)) and type(c) for c in row] for row in back] == [
        [isinstance(c, (bool, str, date, time)) and type(c) for c in row] for row in _without_end(rows)
    ]


@pytest.mark.parametrize(
    "form", [FileForm("csv"), FileForm("csv", ";", "utf-16"), FileForm("csv", "\t", "utf-8")]
)
@given(rows=st.lists(st.lists(CELLS, min_size=3, max_size=3), min_size=1, max_size=6))
@settings(max_examples=150, deadline=None)
def test_any_table_survives_text_as_what_its_cells_say(form, rows) -> None:
    heading = ["Date", "Code", "Eye"]
    sheets = read_file(written(Table("", (tuple(heading), *map(tuple, rows))), form), "list.csv")
    assert sheets.form.delimiter == form.delimiter
    said = [tuple(heading), *(tuple(as_text(c) for c in row) for row in rows)]
    while not any(cell.strip() for cell in said[-1]):
        said.pop()
    assert sheets.tables[0].rows == tuple(said)


def test_a_day_goes_out_in_a_form_that_shows_no_hour():
    """Seen in LibreOffice 7.4: without one the day stands there with 12:00 AM."""
    cells = (date(2026, 2, 3), datetime(2026, 2, 3, 8, 30))  # noqa: DTZ001 - a cell has no zone
    with zipfile.ZipFile(io.BytesIO(written(Table("List", (cells,)), FileForm("ods")))) as package:
        body = package.read("content.xml").decode()
    assert 'office:date-value="2026-02-03" table:style-name="day"' in body
    assert body.count('table:style-name="day"') == 1
    assert (
        '<style:style style:name="day" style:family="table-cell" style:data-style-name="day-shown"/>' in body
    )


@pytest.mark.parametrize("kind", ["csv", "xlsx", "ods"])
def test_no_cell_goes_out_that_a_spreadsheet_would_run(kind) -> None:
    """OWASP, CSV Injection: the signs with which a formula begins."""
    content = written(Table("L", (("=1+1", "@SUM(A1)", "-2", "+1"),)), FileForm(kind))
    if kind == "csv":
        assert content.decode("utf-8-sig") == "'=1+1,'@SUM(A1),'-2,'+1\r\n"
    else:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            parts = "".join(
                package.read(name).decode() for name in package.namelist() if name.endswith(".xml")
            )
        assert ("&#39;=1+1" in parts or "'=1+1" in parts, "<f>" in parts, "formula=" in parts) == (
            True,
            False,
            False,
        )
    assert read_file(content, "x").tables[0].rows == (("=1+1", "@SUM(A1)", "-2", "+1"),)


@pytest.mark.parametrize(
    ("content", "delimiter", "encoding", "row"),
    [
        (
            "Datum;Name\r\n2026-04-03;Größe, José\r\n".encode("cp1252"),
            ";",
            "cp1252",
            ("2026-04-03", "Größe, José"),
        ),
        (b"\xef\xbb\xbfDate,Name\n2026-04-03,Zo\xc3\xab\n", ",", "utf-8-sig", ("2026-04-03", "Zoë")),
        ("Date\tName\r\n2026-04-03\tآمنة\r\n".encode("utf-16"), "\t", "utf-16", ("2026-04-03", "آمنة")),
        (b"\xfe\xff" + "Date;Name\n1;Zoë\n".encode("utf-16-be"), ";", "utf-16", ("1", "Zoë")),
        (b'sep=;\r\nDate;Name, first\r\n1;"a\r\nb"\r\n', ";", "utf-8", ("1", "a\nb")),
        (b'"Name, first, last";Date\n"x;y";1\n', ";", "utf-8", ("x;y", "1")),
    ],
)
def test_text_is_read_in_the_letters_and_by_the_sign_that_it_was_saved_with(
    content, delimiter, encoding, row
):
    sheets = read_file(content, "list.csv")
    assert (sheets.form.delimiter, sheets.form.encoding) == (delimiter, encoding)
    assert sheets.tables[0].rows[1] == row


def packed(**parts: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        for name, body in parts.items():
            package.writestr(name, body)
    return out.getvalue()


def of_workbook(content: bytes, **changed: bytes) -> bytes:
    """A workbook with some of its parts replaced or added."""
    with zipfile.ZipFile(io.BytesIO(content)) as package:
        parts = {name: package.read(name) for name in package.namelist()}
    return packed(**{**parts, **changed})


XLSX = written(Table("List", (("on", "code"), (date(2026, 4, 3), "P-1"))), FileForm("xlsx"))
ODS = written(Table("List", (("on", "code"), (date(2026, 4, 3), "P-1"))), FileForm("ods"))
SHEET = "xl/worksheets/sheet1.xml"
ODS_ROW = (
    b'<table:table-row table:number-rows-repeated="%d"><table:table-cell office:value-type="float"'
    b' office:value="1"'
)


def ods_with(row: bytes) -> bytes:
    with zipfile.ZipFile(io.BytesIO(ODS)) as package:
        body = package.read("content.xml")
    return of_workbook(ODS, **{"content.xml": body.replace(b"</table:table>", row + b"</table:table>")})


def xlsx_far() -> bytes:
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"constant_memory": True}) as book:
        sheet = book.add_worksheet()
        sheet.write(0, 0, "on")
        sheet.write(1_048_575, 16_383, "far")
    return out.getvalue()


BAD = {
    "half of a workbook": (XLSX[: len(XLSX) // 2], "damaged, or was not written to its end"),
    "half of an ODS": (ODS[: len(ODS) // 2], "damaged, or was not written to its end"),
    "half of a sheet": (
        of_workbook(XLSX, **{SHEET: b"<worksheet><sheetData><row"}),
        "damaged in its part xl/works",
    ),
    "a bomb": (
        of_workbook(XLSX, **{SHEET: b"<worksheet>" + b" " * 130_000_000}),
        "unpacks to more than 120 MB",
    ),
    "entities": (
        of_workbook(XLSX, **{SHEET: b'<!DOCTYPE a [<!ENTITY b "c">]><worksheet/>'}),
        "damaged in its part xl/worksheets/sheet1.xml",
    ),
    "a million cells and one": (
        of_workbook(XLSX, **{SHEET: b"<worksheet><row>" + b"<c/>" * 1_000_001 + b"</row></worksheet>"}),
        "more than 1000000 cells",
    ),
    "macros": (of_workbook(XLSX, **{"xl/vbaProject.bin": b"x"}), "macros"),
    "macros of an ODS": (of_workbook(ODS, **{"Basic/Standard/script-lb.xml": b"<a/>"}), "macros"),
    "another package": (packed(**{"word/document.xml": b"<a/>"}), "no table that can be read"),
    "an old workbook": (
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600,
        "of an old kind, or asks for a password",
    ),
    "a cell far out": (xlsx_far(), "XFD1048576"),
    "a row a million times": (ods_with(ODS_ROW % 1_000_000 + b"/></table:table-row>"), "A1000002"),
    "a cell a thousand times": (
        ods_with(ODS_ROW % 1 + b' table:number-columns-repeated="1000"/></table:table-row>'),
        "ALL3",
    ),
    "a picture": (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "no table, or its letters can't be read"),
    "a quotation mark that stays open": (b'on,code\n1,"P-1\n', "row 2 has a quotation mark"),
    "too many rows": (b"a\n" * (MOST_ROWS + 2), f"more than {MOST_ROWS} rows"),
    "too many columns": (b"," * MOST_COLUMNS + b"x\n", "GS1"),
    "a cell like a book": (b"on,code\n1," + b"x" * 4_001 + b"\n", "B2 holds more than 4000"),
    "too large": (b"x" * 20_000_001, "larger than 20 MB"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_is_no_table_is_refused_in_one_line_that_says_why(name) -> None:
    content, why = BAD[name]
    with pytest.raises(FollowupError) as refused:
        read_file(content, "the-list")
    assert why in refused.value.line
    assert "\n" not in refused.value.line
    assert refused.value.line.startswith("the-list: ")


@pytest.mark.parametrize("content", [XLSX, ODS])
@given(data=st.data())
@settings(max_examples=150, deadline=None)
def test_a_damaged_workbook_is_read_or_refused_and_nothing_else(content, data) -> None:
    at = data.draw(st.integers(0, len(content) - 1))
    damaged = bytearray(content)
    damaged[at] ^= data.draw(st.integers(1, 255))
    with suppress(FollowupError):
        assert read_file(bytes(damaged), "the-list").tables
