"""The days to tick: every day to the end with the boxes of its row, and what is new or to be done."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from followup.sheets.content import SheetOptions
from followup.sheets.paper.pdf import render_pdf

TICKED = SheetOptions(calendar=True)


def _days(content):
    return {day.day.replace("\N{NO-BREAK SPACE}", " "): day for day in content.calendar.days}


def test_every_day_of_the_drops_has_its_row_and_no_day_after_them(make_content):
    days = _days(make_content(options=TICKED))
    first = date(2026, 6, 2)
    named = [f"{on:%a} {on.day} {on:%B}" for on in (first + timedelta(days=i) for i in range(28))]
    assert list(days) == named


def test_a_day_has_the_boxes_of_its_row_in_the_table(make_content):
    content = make_content(options=TICKED)
    assert [column.time for column in content.table.columns] == ["06:00", "11:00", "17:00", "22:00"]

    def boxes(day: str) -> dict[str, tuple[bool, ...]]:
        row = content.table.rows[_days(content)[day].row]
        return {mark.bottle.letter: mark.at for mark in row.marks}

    often, twice = (True, True, True, True), (True, False, True, False)
    assert boxes("Tue 2 June") == boxes("Mon 8 June") == {"A": often, "N": twice, "S": often}
    assert boxes("Tue 9 June") == {"N": twice, "S": (True, False, True, True)}
    assert boxes("Mon 29 June") == {"S": (True, False, False, False)}


def test_what_is_new_and_a_visit_stand_on_their_day(make_content):
    days = _days(make_content(options=TICKED))
    assert [day for day, told in days.items() if told.new] == ["Tue 9 June", "Tue 16 June", "Tue 23 June"]
    assert [day for day, told in days.items() if told.visit] == ["Tue 2 June", "Mon 8 June"]


def test_the_rows_begin_on_the_day_of_printing(make_content):
    days = make_content(options=TICKED, printed_on=date(2026, 6, 12)).calendar.days
    assert days[0].day == "Fri\N{NO-BREAK SPACE}12\N{NO-BREAK SPACE}June"
    assert not days[0].new, "nothing is new on that day"


def test_a_plan_without_anything_to_do_has_no_calendar(make_content, make_plan):
    nothing = make_plan(approved=True, courses=(), rounds=(), supply=(), trips=())
    assert make_content(options=TICKED, plan=nothing).calendar is None


def test_days_to_tick_are_there_only_where_someone_asks_for_them(make_content):
    assert make_content().calendar is None
    assert make_content(options=TICKED).calendar is not None


def _by_page(content, open_pdf) -> list[list[str]]:
    """The days that stand on each page of days, and that each has the times over them."""
    texts = [" ".join(p.get_textpage().get_text_bounded().split()) for p in open_pdf(render_pdf(content))]
    (first,) = [number for number, text in enumerate(texts) if content.calendar.how in text]
    assert all(text.count(column.time) for text in texts[first:] for column in content.table.columns)
    days = _days(content)
    return [[day for day in days if f"{day} " in text] for text in texts[first:]]


def test_four_weeks_of_days_are_one_page(make_content, open_pdf):
    content = make_content(options=TICKED)
    assert [len(page) for page in _by_page(content, open_pdf)] == [28]


@pytest.mark.parametrize(("paper", "size"), [("A4", "normal"), ("Letter", "normal"), ("A4", "large")])
def test_eleven_weeks_of_two_eyes_and_five_bottles_are_printed_whole(
    paper, size, make_long_content, open_pdf
):
    content = make_long_content(options=SheetOptions(paper=paper, size=size, calendar=True))
    assert len(content.calendar.days) >= 77
    pages = _by_page(content, open_pdf)
    assert [day for page in pages for day in page] == list(_days(content))
