"""The calendar page: every day to the end, boxes for its rounds, and what is new or to be done."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from followup.sheets.content import SheetOptions
from followup.sheets.paper.pdf import render_pdf

TICKED = SheetOptions(calendar=True)


def _events(day):
    return [(event.kind, event.words) for event in day.events]


def test_every_day_of_the_drops_has_its_row_and_later_ones_only_if_something_happens(make_content):
    days = make_content(options=TICKED).calendar.days
    first = date(2026, 6, 2)
    assert [d.day for d in days[:28]] == [
        f"{on.day} {on:%B}" for on in (first + timedelta(days=i) for i in range(28))
    ]
    assert [(d.weekday, d.day) for d in days[28:]] == [("Monday", "6 July")]
    assert _events(days[-1]) == [("visit", "Visit at the clinic.")]


def test_a_day_has_a_box_for_every_round_with_the_bottles_in_order_of_use(make_content):
    day = make_content(options=TICKED).calendar.days[0]
    assert [(r.time, [b.letter for b in r.bottles]) for r in day.rounds] == [
        ("06:00", ["A", "N", "S"]),
        ("11:00", ["A", "S"]),
        ("17:00", ["A", "N", "S"]),
        ("22:00", ["A", "S"]),
    ]


def test_what_is_new_stands_on_its_day(make_content):
    days = {d.day: d for d in make_content(options=TICKED).calendar.days}
    assert _events(days["2 June"])[:4] == [
        ("visit", "Visit at the clinic."),
        ("change", "Left eye, Moxifloxacin 0.5%: start, 4 times a day."),
        ("change", "Left eye, Bromfenac 0.09%: start, 2 times a day."),
        ("change", "Left eye, Prednisolone acetate 1%: start, 4 times a day."),
    ]
    assert _events(days["9 June"]) == [
        ("change", "Left eye, Prednisolone acetate 1%: from today 3 times a day.")
    ]
    assert ("change", "Left eye, Prednisolone acetate 1%: today is the last day.") in _events(days["29 June"])
    assert (
        "discard",
        "After the last drop of this day throw away bottle 1: Left eye, Prednisolone acetate 1%.",
    ) in _events(days["29 June"])
    assert _events(days["3 June"]) == []


def test_the_rows_begin_on_the_day_of_printing(make_content):
    days = make_content(options=TICKED, printed_on=date(2026, 6, 12)).calendar.days
    assert (days[0].weekday, days[0].day) == ("Friday", "12 June")
    assert _events(days[0]) == [], "nothing is new on that day"


def test_a_bottle_of_a_finished_course_is_still_thrown_away(make_content, make_plan):
    plan = make_plan(approved=True)
    late = tuple(
        b.model_copy(update={"discard": date(2026, 6, 29)}) if "antibiotic" in b.course else b
        for b in plan.supply
    )
    given = {"plan": plan.model_copy(update={"supply": late}), "printed_on": date(2026, 6, 12)}
    content = make_content(options=TICKED, **given)
    days = {d.day: d for d in content.calendar.days}
    assert (
        "discard",
        "After the last drop of this day throw away bottle 1: Left eye, Moxifloxacin 0.5%.",
    ) in _events(days["29 June"])


def test_a_plan_without_anything_to_do_has_no_calendar(make_content, make_plan):
    nothing = make_plan(approved=True, courses=(), rounds=(), supply=(), trips=())
    assert make_content(options=TICKED, plan=nothing).calendar is None


def test_days_to_tick_are_there_only_where_someone_asks_for_them(make_content):
    assert make_content().calendar is None
    assert make_content(options=TICKED).calendar is not None


@pytest.mark.parametrize(("paper", "size"), [("A4", "normal"), ("A5", "large"), ("Letter", "large")])
def test_eleven_weeks_of_two_eyes_and_five_bottles_are_printed_whole(
    paper, size, make_long_content, open_pdf
):
    content = make_long_content(options=SheetOptions(paper=paper, size=size, calendar=True))
    assert len(content.calendar.days) >= 77
    pages = [p.get_textpage().get_text_bounded() for p in open_pdf(render_pdf(content))]
    text = " ".join(" ".join(pages).split())
    tables = [page for page in pages if "Tick here" in page]
    assert len(tables) > 2, "the head of the table stands on every page of it"
    for day in content.calendar.days:
        assert f"{day.weekday} {day.day}" in text
    for number, page in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in page
        assert "P-204 · Both eyes" in " ".join(page.split())
        assert len(page.splitlines()) >= 4
    last = tables[-1].splitlines()
    assert len([line for line in last if "06:00" in line]) != 1, "no day stands alone on the last page"
