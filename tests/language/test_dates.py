"""Days and times as patients read them. Exact strings, because the data of CLDR changes."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.language.catalogues import translator
from followup.language.dates import clock, long_date, short_date
from followup.language.direction import without_marks
from followup.language.languages import LANGUAGES


@pytest.mark.parametrize(
    ("tag", "words"),
    [
        ("en", "Thursday 5 March 2026"),
        ("bn", "বৃহস্পতিবার, 5 মার্চ 2026"),
        ("ar", "الخميس، 5 مارس 2026"),
    ],
)
def test_a_day_has_its_weekday_and_its_month_in_words(tag, words):
    assert long_date(date(2026, 3, 5), LANGUAGES[tag]) == words


@pytest.mark.parametrize("tag", LANGUAGES)
def test_no_two_days_of_two_years_read_alike(tag):
    days = [date(2027, 1, 1) + timedelta(days=n) for n in range(731)]
    assert len({long_date(day, LANGUAGES[tag]) for day in days}) == 731


@pytest.mark.parametrize("tag", LANGUAGES)
@given(day=st.dates(date(2020, 1, 1), date(2060, 12, 31)))
def test_digits_are_latin_and_the_month_is_never_a_number(tag, day):
    for text in (long_date(day, LANGUAGES[tag]), short_date(day, LANGUAGES[tag])):
        digits = [c for c in text if c.isdigit()]
        assert all(c.isascii() for c in digits)
        assert not set("/.-") & set(text)
    numbers = [part for part in long_date(day, LANGUAGES[tag]).replace("،", "").split() if part.isdigit()]
    assert numbers == [str(day.day), str(day.year)]


@pytest.mark.parametrize(
    ("time", "rise", "words"),
    [
        ("06:00", "06:00", "06:00"),
        ("22:00", "06:00", "22:00"),
        ("01:00", "16:00", "01:00 (after midnight)"),
        ("04:59", "16:00", "04:59 (after midnight)"),
        ("05:00", "16:00", "05:00 (next morning)"),
        ("00:00", "07:30", "00:00 (after midnight)"),
    ],
)
def test_a_time_past_midnight_says_so(time, rise, words):
    assert clock(time, translator("en"), rise=rise) == words


@pytest.mark.parametrize("tag", LANGUAGES)
def test_clock_times_stay_on_the_24_hour_clock(tag):
    assert without_marks(clock("17:30", translator(tag), rise="06:00")) == "17:30"
