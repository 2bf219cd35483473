"""A reviewer's table: out, read and changed in a spreadsheet, and back whole or not at all."""

from __future__ import annotations

import csv
import io

import pytest

from followup.errors import FollowupError
from followup.language.catalogue_files import shipped, source_catalogue
from followup.language.languages import LANGUAGES
from followup.language.review_file import MOST_BYTES, export_csv, import_csv

TRANSLATED = [tag for tag in LANGUAGES if tag != "en"]
SOURCE = source_catalogue("sheet")


def _table(tag: str) -> list[list[str]]:
    spoken = LANGUAGES[tag]
    data = export_csv(SOURCE, shipped(spoken, "sheet").messages, spoken)
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def _written(rows: list[list[str]], mark: str = ",", encoding: str = "utf-8-sig") -> bytes:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=mark).writerows(rows)
    return text.getvalue().encode(encoding)


def _taken(tag: str, rows: list[list[str]], **how: str):
    return import_csv(_written(rows, **how), SOURCE, LANGUAGES[tag], "hi.csv")


def _refused(tag: str, rows: list[list[str]]) -> FollowupError:
    with pytest.raises(FollowupError) as refused:
        _taken(tag, rows)
    return refused.value


def _row(rows: list[list[str]], source: str) -> int:
    """The number of a row as a spreadsheet counts: the header is row 1."""
    return next(n for n, row in enumerate(rows, start=1) if row[0] == source)


@pytest.mark.parametrize("tag", TRANSLATED)
def test_what_goes_out_comes_back_the_same(tag):
    rows = _table(tag)
    assert rows[0] == ["source", "translation", "context"]
    assert _taken(tag, rows) == shipped(LANGUAGES[tag], "sheet").messages


@pytest.mark.parametrize("tag", TRANSLATED)
def test_every_plural_form_has_its_own_row_that_says_for_which_numbers(tag):
    counted = [row for row in _table(tag) if row[0].startswith("%(count)s time") and "a day" in row[0]]
    assert len(counted) == len(LANGUAGES[tag].categories)
    assert all(row[2].startswith("[for the numbers ") for row in counted)
    assert len({row[2] for row in counted}) == len(counted)


def test_the_arabic_rows_name_the_numbers_of_their_form():
    rows = [row for row in _table("ar") if row[0].startswith("%(count)s time") and "a day" in row[0]]
    assert [row[2].split("]")[0] for row in rows] == [
        "[for the numbers 0",
        "[for the numbers 1",
        "[for the numbers 2",
        "[for the numbers 3, 4, 5, 6 ...",
        "[for the numbers 11, 12, 13, 14 ...",
        "[for the numbers 100, 101, 102, 200",
    ]


def test_a_changed_word_and_a_sorted_table_are_taken():
    rows = _table("hi")
    rows[_row(rows, "At home") - 1][1] = "  अपने घर में "
    messages = _taken("hi", [rows[0], *sorted(rows[1:], reverse=True)])
    assert messages[(None, "At home")] == ("अपने घर में",)


@pytest.mark.parametrize(("mark", "encoding"), [(";", "utf-8"), ("\t", "utf-16"), (",", "utf-8")])
def test_what_a_spreadsheet_makes_of_a_table_is_read(mark, encoding):
    rows = _table("ur")
    assert _taken("ur", [*rows, ["", "", ""]], mark=mark, encoding=encoding)


def test_a_lost_placeholder_is_refused_with_its_row():
    rows = _table("hi")
    number = _row(rows, "Sheet no. %(number)s")
    rows[number - 1][1] = "पर्चा नंबर"
    error = _refused("hi", rows)
    assert error.code == "language.import"
    assert error.where == f"hi.csv, row {number}"
    assert "lacks the placeholder %(number)s" in error.what


def test_a_plural_form_taken_out_is_refused():
    rows = _table("ar")
    gone = next(n for n, row in enumerate(rows) if row[2].startswith("[for the numbers 3, 4"))
    source = rows.pop(gone)[0]
    error = _refused("ar", rows)
    assert error.what == f"no row for {source[:60]!r} [for the numbers 3, 4, 5, 6 ...]"


def test_an_empty_plural_form_is_refused_with_its_row():
    rows = _table("ar")
    empty = next(n for n, row in enumerate(rows, start=1) if row[2].startswith("[for the numbers 2]"))
    rows[empty - 1][1] = ""
    error = _refused("ar", rows)
    assert error.where == f"hi.csv, row {empty}"
    assert "is empty" in error.what


def test_an_unknown_source_is_refused_with_its_row():
    rows = _table("fr")
    rows.insert(3, ["Take twice as much.", "Prenez le double.", ""])
    error = _refused("fr", rows)
    assert error.where == "hi.csv, row 4"
    assert "'Take twice as much.' with this context is no message of the sheet" in error.what


def test_a_row_given_twice_names_both():
    rows = _table("fr")
    first = _row(rows, "At home")
    error = _refused("fr", [*rows, ["At home", "Chez vous", ""]])
    assert error.where == f"hi.csv, row {len(rows) + 1}"
    assert f"stands there twice, first in row {first}" in error.what


def test_markup_is_refused_and_all_faults_are_counted():
    rows = _table("es")
    changed = {"At home": "En <i>casa</i>", "Never": "Siempre", "Evening": ""}
    for source, text in changed.items():
        rows[_row(rows, source) - 1][1] = text
    error = _refused("es", rows)
    assert "(and 2 more)" in error.what
    assert error.where == f"hi.csv, row {min(_row(rows, source) for source in changed)}", "the first is named"


def test_of_rows_taken_out_the_first_is_named_and_all_are_counted():
    rows = _table("es")
    gone = sorted(_row(rows, source) for source in ("At home", "Never", "Evening"))
    named = rows[gone[0] - 1][0]
    for number in reversed(gone):
        rows.pop(number - 1)
    assert _refused("es", rows).what == f"no row for {named!r} (and 2 more)"


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"", "it is empty"),
        (b"source;translation\n", "the columns are not"),
        (b"\xff\xff\xff", "not UTF-8"),
        (b"source,translation,context\nAt home,a,b,c\n", "4 columns, expected 3"),
        (b'source,translation,context\n"At home,x\n', "not CSV"),
        (b"source,translation,context\nAt home,\x00,\n", "NUL"),
        (b"x" * (MOST_BYTES + 1), "larger than"),
    ],
)
def test_what_is_no_table_of_ours_is_refused_in_one_line(data, what):
    with pytest.raises(FollowupError) as refused:
        import_csv(data, SOURCE, LANGUAGES["hi"], "hi.csv")
    assert what in refused.value.line
    assert "hi.csv" in refused.value.where
    assert "\n" not in refused.value.line
