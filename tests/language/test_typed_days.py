"""A day as it is typed: one reading, or a refusal that says why."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.errors import FollowupError
from followup.language.languages import language
from followup.language.typed_days import day_in_box, typed_day

TODAY = date(2026, 11, 30)
EN = language("en")


@pytest.mark.parametrize(
    ("typed", "lean", "meant"),
    [
        ("5 11", "past", date(2026, 11, 5)),
        ("5 11", "future", date(2027, 11, 5)),
        ("5 11", "near", date(2026, 11, 5)),
        ("5 1", "near", date(2027, 1, 5)),
        ("30 11", "past", TODAY),
        ("1 12", "past", date(2025, 12, 1)),
        ("1.12.", "future", date(2026, 12, 1)),
        ("05/11/26", "past", date(2026, 11, 5)),
        ("5-11-2024", "past", date(2024, 11, 5)),
        ("2026-11-05", "past", date(2026, 11, 5)),
        ("0511", "past", date(2026, 11, 5)),
        ("051126", "past", date(2026, 11, 5)),
        ("05112026", "past", date(2026, 11, 5)),
        ("20261105", "past", date(2026, 11, 5)),
        ("5 Nov", "past", date(2026, 11, 5)),
        ("5 november 2025", "past", date(2025, 11, 5)),
        ("29 2", "past", date(2024, 2, 29)),
        ("3 4 55", "birth", date(1955, 4, 3)),
        ("٥ ١١", "past", date(2026, 11, 5)),
        ("৫/১১", "past", date(2026, 11, 5)),
    ],
)
def test_a_day_has_the_one_meaning_that_people_give_it(typed, lean, meant):
    assert typed_day(typed, TODAY, EN, lean) == meant


@pytest.mark.parametrize(
    ("typed", "lean", "why"),
    [
        ("", "past", "no day"),
        ("yesterday", "past", "no day"),
        ("5", "past", "no day"),
        ("511", "past", "no day"),
        ("11 25", "past", "the day comes first"),
        ("31 11", "past", "no such day"),
        ("30 2", "past", "no such day"),
        ("5 Ju", "past", "no month"),
        ("5 11 126", "past", "two or four digits"),
        ("5 11", "birth", "the year is missing"),
        ("3 4 26", "birth", "1926-04-03 or 2026"),
        ("1 6", "near", "2026-06-01 or 2027"),
        ("1 12 26", "past", "four digits"),
        ("9" * 200, "past", "no day"),
    ],
)
def test_what_is_no_day_or_two_is_refused_with_the_reason(typed, lean, why):
    with pytest.raises(FollowupError) as refused:
        typed_day(typed, TODAY, EN, lean)
    assert why in refused.value.line


@pytest.mark.parametrize(
    ("tag", "typed"), [("fr", "5 novembre"), ("hi", "5 नवंबर"), ("bn", "৫ নভেম্বর"), ("ar", "٥ نوفمبر")]
)
def test_months_go_by_their_name_in_the_language_of_the_page(tag, typed):
    assert typed_day(typed, TODAY, language(tag), "past") == date(2026, 11, 5)


@given(st.dates(date(1900, 1, 1), date(2100, 1, 1)))
def test_what_a_box_holds_is_read_as_the_same_day(day):
    assert typed_day(day_in_box(day), TODAY, EN) == day


@given(st.integers(0, 360))
def test_without_a_year_the_past_never_lies_ahead_and_the_future_never_behind(days):
    before, after = TODAY - timedelta(days), TODAY + timedelta(days)
    assert typed_day(f"{before.day} {before.month}", TODAY, EN, "past") == before
    assert typed_day(f"{after.day} {after.month}", TODAY, EN, "future") == after
