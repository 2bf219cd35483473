"""The one table read back from the printed page: every mark stands in its row, under its time, for its eye.

What a mark is of is read from its letter and its form alone: a right eye's is square, a left eye's round, one
by mouth lies between two lines, and the steroid drop alone is black.
"""

from __future__ import annotations

import pytest
import two_eyes
import two_eyes_told as told
from paper import set_
from printed import Page, read
from printed_table import PrintedRow, PrintedTable, has_table, table_on
from told_sheets import CASES, printed

from followup.language.direction import without_marks
from followup.language.languages import LANGUAGES
from followup.sheets.model import DaysLine, NamedBottle, RowMark, SheetContent, VisitLine
from followup.sheets.options import SheetOptions
from followup.sheets.paper.pdf import job, laid_out, sheet_data

_SIDES = {"right": "r", "left": "l", None: ""}


def _of(bottle: NamedBottle) -> str:
    return bottle.letter + _SIDES[bottle.side]


def _tables(pages: tuple[Page, ...], content: SheetContent) -> list[PrintedTable]:
    turned = content.direction == "rtl"
    return [table_on(page, from_the_right=turned) for page in pages if has_table(page)]


def _bare(words: str) -> str:
    """Letters and figures in no order: a reader of PDF turns those of some scripts about."""
    return "".join(sorted(c for c in words if c.isascii() and c.isdigit()))


def differences(pages: tuple[Page, ...], content: SheetContent) -> list[str]:
    """Where the printed table is not the table of the content."""
    tables = _tables(pages, content)
    order = -1 if content.direction == "rtl" else 1
    times = tuple(without_marks(column.time) for column in content.table.columns)
    found = [f"columns {t.times}" for t in tables if t.times[::order] != times]
    drawn = [row for table in tables for row in table.rows]
    if len(drawn) != len(content.table.rows):
        return [*found, f"{len(drawn)} rows, not {len(content.table.rows)}"]
    outer = "right" if content.direction == "rtl" else "left"
    for row, seen in zip(content.table.rows, drawn, strict=True):
        if (seen.edge is not None) != row.new or seen.edge not in (None, outer):
            found.append(f"the bar of {seen.label} stands {seen.edge}")
        label = row.dates if isinstance(row, DaysLine) else row.day
        if _bare(label) != _bare(seen.label.removeprefix(content.table.now)):
            found.append(f"{seen.label} is not {label}")
        if isinstance(row, DaysLine):
            found += _of_days(row, seen, times)
        else:
            found += _of_visit(row, seen)
    return found


def _of_days(row: DaysLine, seen: PrintedRow, times: tuple[str, ...]) -> list[str]:
    sides = [(mark.eyes[0][0] if mark.eyes else "", mark) for mark in seen.marks]
    found = [f"{m.bottle} beside {m.eyes}" for eye, m in sides if m.eyes and not m.bottle.endswith(eye)]
    # What is taken by mouth in words may stand below the columns, once.
    below = seen.at(None)
    in_words = [m for m in row.marks if row.told or (m.amount is not None and _of(m.bottle) in below)]
    if below != [_of(mark.bottle) for mark in in_words]:
        found.append(f"{seen.label}: {below} in words")
    for at, time in enumerate(times):
        wanted = [_of(m.bottle) for m in _by_eye(row) if m.at[at] and m not in in_words]
        if seen.at(time) != wanted:
            found.append(f"{seen.label}, {time}: {seen.at(time)}, not {wanted}")
    return found + ["grey"] * seen.grey


def _by_eye(row: DaysLine) -> list[RowMark]:
    """One line of the row for each eye, that of the right eye first."""
    lines = ("right", "left", None)
    return sorted(row.marks, key=lambda m: lines.index(m.bottle.side))


def _of_visit(row: VisitLine, seen: PrintedRow) -> list[str]:
    wanted = [_of(bottle) for given in row.handed for bottle in given.bottles]
    found = [] if sorted(seen.at(None)) == sorted(wanted) else [f"{seen.label} hands over {seen.at(None)}"]
    found += [f"{seen.label}: {mark.bottle} in a column" for mark in seen.marks if mark.time]
    return found + ["a visit is not grey"] * (not seen.grey)


@pytest.mark.parametrize("pictures", [False, True])
@pytest.mark.parametrize("tag", ["en", "ar", "ta"])
def test_every_mark_stands_in_its_row_under_its_time_beside_its_eye(tag, pictures, formulary):
    options = SheetOptions(pictures=pictures)
    content = two_eyes.content(formulary, language=tag, options=options)
    pages = read(laid_out(content)[0])
    assert differences(pages, content) == []
    wanted = sum(len(marks.split()) for times in told.ROUNDS.values() for marks in times.values())
    handed = 2  # bottles at visits
    seen = [mark for table in _tables(pages, content) for row in table.rows for mark in row.marks]
    assert len(seen) == wanted + handed


@pytest.mark.parametrize(("paper", "size"), [("A5", "normal"), ("Letter", "normal"), ("Letter", "large")])
def test_so_it_does_on_other_paper_and_in_large_letters(paper, size, formulary):
    content = two_eyes.content(formulary, options=SheetOptions(paper=paper, size=size))
    assert differences(read(laid_out(content)[0]), content) == []


# The papers of test_front.py: every language with another operation, first and replacing.
@pytest.mark.parametrize(
    ("case", "tag", "replaced"),
    [(CASES[at % len(CASES)], tag, bool(at % 2)) for at, tag in enumerate(LANGUAGES)],
)
def test_the_table_of_every_told_operation_is_printed_as_it_is(case, tag, replaced):
    content, pdf, _ = printed(case, tag, replaced=replaced)
    assert differences(read(pdf), content) == []


def _first_days(data: dict) -> dict:
    return next(row for row in data["table"]["rows"] if row["kind"] == "days")


def _letter(data: dict) -> None:
    marks = _first_days(data)["marks"]
    marks[2]["bottle"]["letter"], marks[3]["bottle"]["letter"] = "S", "A"


def _side(data: dict) -> None:
    _first_days(data)["marks"][1]["bottle"]["side"] = "left"


def _column(data: dict) -> None:
    at = _first_days(data)["marks"][3]["at"]
    at[1], at[2] = at[2], at[1]


def _dropped(data: dict) -> None:
    _first_days(data)["marks"][3]["at"][0] = False


def _rows_exchanged(data: dict) -> None:
    one, other, _ = (r for r in data["table"]["rows"] if r["kind"] == "days" and "Sat" in r["dates"][:3])
    one["marks"], other["marks"] = other["marks"], one["marks"]


def _tablet(data: dict) -> None:
    _first_days(data)["marks"][5]["bottle"]["side"] = "right"


def _handed(data: dict) -> None:
    visits = [row for row in data["table"]["rows"] if row["kind"] == "visit" and row["handed"]]
    visits[0]["handed"][0]["bottles"][0]["side"] = "right"


def _bar(data: dict) -> None:
    _first_days(data)["new"] = False


def _head(data: dict) -> None:
    one, other, *_ = data["table"]["columns"]
    one["time"], other["time"] = other["time"], one["time"]


@pytest.mark.parametrize(
    "wrong", [_letter, _side, _column, _dropped, _rows_exchanged, _tablet, _handed, _bar, _head]
)
def test_one_mark_at_a_wrong_place_is_seen(wrong, formulary):
    """What would be printed if the layout erred."""
    content = two_eyes.content(formulary)
    data = sheet_data(content) | {"close": True}
    assert differences(read(set_(job([data], content.printed_on))), content) == []
    wrong(data)
    assert differences(read(set_(job([data], content.printed_on))), content) != []


def test_in_the_first_row_of_days_every_drop_is_drawn_and_after_it_none(formulary):
    content = two_eyes.content(formulary)
    first, *later = [
        row for t in _tables(read(laid_out(content)[0]), content) for row in t.rows if not row.grey
    ]
    drawn = {mark.bottle: mark.dose for mark in first.marks}
    assert drawn == {"Nr": "drop", "Sr": "drop", "Al": "drop", "Sl": "drop", "A2l": "ointment", "T": None}
    assert "4 tablets (20 mg)" in first.words
    assert {mark.dose for row in later for mark in row.marks if mark.bottle != "T"} == {None}
    assert {mark.dose for row in later for mark in row.marks if mark.bottle == "T"} == {"tablet"}


def test_from_right_to_left_the_first_time_is_rightmost_and_reads_from_its_left(formulary):
    english, arabic = (two_eyes.content(formulary, language=tag) for tag in ("en", "ar"))
    one, other = (_tables(read(laid_out(content)[0]), content)[0] for content in (english, arabic))
    assert one.times == ("06:00", "11:00", "14:00", "17:00", "22:00", "01:00")
    assert other.times == one.times[::-1]
