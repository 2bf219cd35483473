"""A clinic's own columns and words: each cell is read to one value, or its place says why not."""

from __future__ import annotations

from datetime import date, datetime, time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.errors import FollowupError
from followup.exchange.lists.handed_back import REASON, handed_back
from followup.exchange.lists.mapping import (
    DAY_ORDERS,
    Asked,
    ListMapping,
    checked_mapping,
    folded,
    guessed,
    sheet_and_heading,
    strange_words,
)
from followup.exchange.lists.reading import rows_of_table
from followup.exchange.lists.table import FileForm, Table
from followup.exchange.lists.workbook import read_file

ASKED = {
    "on": Asked("date"),
    "code": Asked("line"),
    "name": Asked("line"),
    "eye": Asked("one of", ("right", "left")),
    "operations.0.eye_drawn": Asked("one of", ("right", "left")),
    "operations.0.start": Asked("clock"),
    "operations.0.cut_mm": Asked("number"),
    "operations.0.watertight": Asked("yes-no"),
    "operations.0.procedure": Asked("one of", ("phacoemulsification", "extracapsular")),
}
COLUMNS = {"on": "Date of surgery", "code": "MRN", "name": "Patient name", "eye": "Eye"}
WORDS = {"eye": {"R/E": "right", "l/e": "left"}}
FILES = Path(__file__).with_name("files")


def mapping(**more) -> ListMapping:
    return ListMapping(**({"columns": COLUMNS, "words": WORDS} | more))


def read(table: Table, told: ListMapping, kind="xlsx"):
    found, heading = sheet_and_heading([table], checked_mapping(told, ASKED), "list")
    return list(rows_of_table(found, heading, told, ASKED, FileForm(kind)))


def one(field: str, cell, **more):
    """The value of a cell that is ``field``, or the reason why it has none."""
    columns = COLUMNS | {"operations.0.eye_drawn": "Marked", field: COLUMNS.get(field, "It")}
    heading = list(columns.values())
    usual = {
        "on": date(2026, 4, 3),
        "code": "P-1",
        "name": "A",
        "eye": "right",
        "operations.0.eye_drawn": "right",
    }
    cells = [(usual | {field: cell})[name] for name in columns]
    (row,) = read(Table("S", (tuple(heading), tuple(cells))), mapping(columns=columns, **more))
    return row.values.get(field, row.why)


@pytest.mark.parametrize("name", ["theatre.ods", "theatre.xlsx"])
def test_what_a_spreadsheet_program_saved_is_read_from_the_sheet_and_row_that_have_the_columns(name) -> None:
    """Written by LibreOffice 7.4 (see files/README.md): a title of merged cells, a sheet of notes before,
    days as days, a number as a code, formatted empty cells to the end of the sheet."""
    sheets = read_file((FILES / name).read_bytes(), name)
    table, heading = sheet_and_heading(sheets.tables, mapping(), name)
    assert (table.name, heading.row) == ("Theatre", 2)
    rows = list(rows_of_table(table, heading, mapping(), ASKED, sheets.form))
    assert [row.values for row in rows] == [
        {"on": "2026-04-03", "code": "1047", "name": "José Ñandú", "eye": "right"},
        {"on": "2026-04-03", "code": "P-2", "name": "Zoë Brontë", "eye": "left"},
    ]


@pytest.mark.parametrize("name", ["windows-semicolons.csv", "unicode-tabs.csv"])
def test_the_same_list_saved_as_text_has_days_of_two_readings_until_the_mapping_says_the_order(name) -> None:
    """The same program wrote 3 April as 04/03/2026: guessed day first, it would be the 4th of March."""
    sheets = read_file((FILES / name).read_bytes(), name)
    table, heading = sheet_and_heading(sheets.tables, mapping(), name)
    rows = list(rows_of_table(table, heading, mapping(), ASKED, sheets.form))
    assert [row.number for row in rows] == [3, 4]
    assert "Date of surgery" in rows[0].why
    assert "2026-04-03" in rows[0].why
    assert "2026-03-04" in rows[0].why
    told = mapping(day_order="month day year")
    assert [r.values["on"] for r in rows_of_table(table, heading, told, ASKED, sheets.form)] == [
        "2026-04-03"
    ] * 2


@given(st.dates(date(1990, 1, 1), date(2199, 12, 31)), st.sampled_from(DAY_ORDERS), st.sampled_from("/-. "))
def test_a_day_as_text_is_read_as_the_mapping_says_and_else_only_where_it_can_mean_one_day(
    day, order, sign
) -> None:
    parts = {"day": f"{day.day:02}", "month": f"{day.month:02}", "year": str(day.year)}
    text = sign.join(parts[part] for part in order.split())
    assert one("on", text, day_order=order) == day.isoformat()
    told = one("on", text)
    alike = order != "year month day" and day.day <= 12 and day.day != day.month
    assert ("can be" in told) == alike
    assert alike or told == day.isoformat()


@pytest.mark.parametrize(
    ("field", "cell", "value"),
    [
        ("on", datetime.fromisoformat("2026-04-03 08:30"), "2026-04-03"),
        ("on", "2026-04-03 00:00:00", "2026-04-03"),
        ("on", "3-Apr-2026", "2026-04-03"),
        ("on", "3 Sept 2026", "2026-09-03"),
        ("on", "25/04/2026", "2026-04-25"),
        ("on", "", ""),
        ("code", 104, "104"),
        ("code", 104.0, "104"),
        ("code", "  P-1 ", "P-1"),
        ("eye", "R/E", "right"),
        ("eye", " L/e.", "left"),
        ("eye", "LEFT", "left"),
        ("operations.0.start", time(8, 5), "08:05"),
        ("operations.0.start", "8:05", "08:05"),
        ("operations.0.cut_mm", 2.75, "2.75"),
        ("operations.0.cut_mm", "2,75", "2.75"),
        ("operations.0.watertight", True, "yes"),
        ("operations.0.watertight", "No", "no"),
    ],
)
def test_a_cell_is_the_value_that_stands_in_it(field, cell, value) -> None:
    assert one(field, cell) == value


@pytest.mark.parametrize(
    ("field", "cell", "why"),
    [
        ("on", 46115, "46115 is no day"),
        ("on", "31/02/2026", "is no day"),
        ("on", "03/04/26", "is no day"),
        ("on", "dd/mm/yyyy", "dd/mm/yyyy is no day"),
        ("on", "25/04/2026 ?", "is no day"),
        ("code", date(2026, 4, 3), "2026-04-03 is no text"),
        ("name", "#N/A", "an error of the spreadsheet"),
        ("name", "A\x07", "a sign that can't be read"),
        ("eye", "R", "R is none of right, left"),
        ("eye", "both", "both is none of right, left"),
        ("operations.0.start", "25:00", "25:00 is no time"),
        ("operations.0.cut_mm", "1,234", "can be read in two ways"),
        ("operations.0.watertight", "ok", "ok is neither yes nor no"),
        ("operations.0.procedure", "phaco", "phaco is none of phacoemulsification, extracapsular"),
    ],
)
def test_a_cell_that_is_no_value_says_so_with_its_column(field, cell, why) -> None:
    told = one(field, cell)
    assert told.startswith("column ")
    assert why in told.replace("\u2068", "").replace("\u2069", "")


def test_a_column_may_say_yes_and_no_in_the_clinics_own_words() -> None:
    words = {
        "operations.0.watertight": {"ok": "yes"},
        "operations.0.procedure": {"Phaco + IOL": "phacoemulsification"},
    }
    assert one("operations.0.watertight", "OK", words=words) == "yes"
    assert one("operations.0.procedure", "phaco +  iol", words=words) == "phacoemulsification"


def table_of(*rows, merged=()) -> Table:
    return Table("List", tuple(map(tuple, rows)), merged)


HEAD = list(COLUMNS.values())
ROW = [date(2026, 4, 3), "P-1", "A", "R/E"]


@pytest.mark.parametrize(
    ("tables", "told", "why"),
    [
        ([table_of(["x"])], {}, "these are missing: Date of surgery, MRN, Patient name, Eye"),
        ([table_of([*HEAD[:3], "Side"], ROW)], {}, "these are missing: Eye"),
        ([table_of([*HEAD, "eye "], ROW)], {}, "row 1: the column Eye stands twice"),
        ([table_of(HEAD, ROW, merged=((2, 3),))], {}, "row 2, column 3: cells are merged"),
        (
            [table_of(HEAD, ROW), Table("Other", (tuple(HEAD),))],
            {},
            "several sheets have these columns: List, Other",
        ),
        ([table_of(HEAD, ROW)], {"sheet": "April"}, "there is no sheet April"),
    ],
)
def test_a_table_that_can_not_be_read_as_a_whole_says_where(tables, told, why) -> None:
    with pytest.raises(FollowupError) as refused:
        sheet_and_heading(tables, mapping(**told), "list")
    assert why in refused.value.line


def test_a_second_heading_is_a_row_that_says_its_place_and_empty_rows_are_none() -> None:
    rows = read(table_of(HEAD, ["dd/mm/yyyy", "", "", "R or L"], [], ["", " ", "", ""], ROW), mapping())
    assert [(row.number, bool(row.why)) for row in rows] == [(2, True), (5, False)]


def test_a_row_of_text_that_breaks_off_is_refused_even_where_only_an_unread_column_is_gone() -> None:
    rows = read(table_of([*HEAD, "Remarks"], ["2026-04-03", "P-1", "A", "R/E"]), mapping(), "csv")
    assert rows[0].why == "4 cells where the heading has 5"


@pytest.mark.parametrize(
    ("told", "why"),
    [
        ({"columns": {"on": "Date"}}, "no column is the field code"),
        ({"columns": COLUMNS | {"colour": "Colour"}}, "there is no field colour"),
        (
            {"columns": COLUMNS | {"operations.0.eye_drawn": "eye"}},
            "the column eye is eye and operations.0.eye_drawn",
        ),
        ({"columns": COLUMNS | {"operations.0.cut_mm": "Cut"}}, "a record needs the eye told a second time"),
        ({"words": {"eye": {"R": "dexter"}}}, "R can't mean dexter"),
    ],
)
def test_a_mapping_that_can_not_be_read_by_says_why(told, why) -> None:
    with pytest.raises(FollowupError) as refused:
        checked_mapping(mapping(**told), ASKED)
    assert why in refused.value.line


def test_the_usual_names_and_words_are_guessed_for_somebody_to_look_at() -> None:
    table = table_of(
        ["April"], ["DOS", "UHID", "Name of patient", "Side", "x"], [date(2026, 4, 3), 1, "A", "OD", ""]
    )
    row, told = guessed(table, ASKED)
    assert row == 2
    assert told.columns == {"on": "DOS", "code": "UHID", "name": "Name of patient", "eye": "Side"}
    assert told.words == {"eye": {"OD": "right"}}
    assert strange_words(table, row, told.columns, ASKED) == {"eye": ["OD"]}


@given(st.text(max_size=30))
def test_a_heading_is_compared_the_same_however_often_it_is_folded(text) -> None:
    assert folded(folded(text)) == folded(text)


@pytest.mark.parametrize("kind", ["csv", "xlsx", "ods"])
def test_refused_rows_come_back_as_they_were_with_the_reason_in_one_column_however_often(kind) -> None:
    form = FileForm(kind)
    rows = read(table_of([*HEAD, "Notes"], [*ROW[:3], "?", "=1+1"], ROW), mapping())
    content = b""
    for why in ("the first time", "the second time"):
        table = read_file(content, "back").tables[0] if content else table_of([*HEAD, "Notes"])
        found, heading = sheet_and_heading([table], mapping(), "back")
        rows = list(rows_of_table(found, heading, mapping(), ASKED, form)) if content else rows
        content = handed_back(found, heading, form, [(rows[0], why)])
    head, bad = read_file(content, "back").tables[0].rows
    assert head == (*HEAD, "Notes", REASON)
    day = ROW[0].isoformat() if kind == "csv" else ROW[0]
    assert bad == (day, "P-1", "A", "?", "=1+1", "the second time")
