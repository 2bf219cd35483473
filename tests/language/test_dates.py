"""Days and times as patients read them. Exact strings, because the data of CLDR changes."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.language.catalogues import translator
from followup.language.dates import clock, long_date, native_date, opening, short_date, spoken, weekday
from followup.language.direction import without_marks
from followup.language.languages import LANGUAGES


@pytest.mark.parametrize(
    ("tag", "words"),
    [
        ("en", "Thursday 5 March 2026"),
        ("bn", "বৃহস্পতিবার, 5 মার্চ 2026"),
        ("hi", "गुरुवार, 5 मार्च 2026"),
        ("ta", "வியாழன், 5 மார்ச் 2026"),
        ("te", "గురువారం, 5 మార్చి 2026"),
        ("ur", "جمعرات، 5 مارچ 2026"),
        ("ar", "الخميس، 5 مارس 2026"),
        ("sw", "Alhamisi 5 Machi 2026"),
        ("fr", "jeudi 5 mars 2026"),
        ("es", "jueves 5 de marzo de 2026"),
        ("pt", "quinta-feira, 5 de março de 2026"),
        ("ne", "बिहिबार, 21 फाल्गुण 2082 (5 मार्च 2026)"),
    ],
)
def test_a_day_has_its_weekday_and_its_month_in_words(tag, words):
    assert long_date(date(2026, 3, 5), LANGUAGES[tag]) == words


@pytest.mark.parametrize(
    ("tag", "short", "alone", "native"),
    [
        ("en", "5 March", "Thursday", None),
        ("bn", "5 মার্চ", "বৃহস্পতিবার", "৫ মার্চ ২০২৬"),
        ("hi", "5 मार्च", "गुरुवार", "५ मार्च २०२६"),
        ("ta", "5 மார்ச்", "வியாழன்", "௫ மார்ச் ௨௦௨௬"),
        ("te", "5 మార్చి", "గురువారం", "౫ మార్చి ౨౦౨౬"),
        ("ur", "5 مارچ", "جمعرات", "۵ مارچ ۲۰۲۶"),
        ("ar", "5 مارس", "الخميس", "٥ مارس ٢٠٢٦"),
        ("sw", "5 Machi", "Alhamisi", None),
        ("fr", "5 mars", "jeudi", None),
        ("es", "5 de marzo", "jueves", None),
        ("pt", "5 de março", "quinta-feira", None),
        ("ne", "21 फाल्गुण (5 मार्च)", "बिहिबार", "२१ फाल्गुण २०८२"),
    ],
)
def test_a_day_in_narrow_places_and_in_the_scripts_own_digits(tag, short, alone, native):
    day, spoken = date(2026, 3, 5), LANGUAGES[tag]
    assert (short_date(day, spoken), weekday(day, spoken), native_date(day, spoken)) == (short, alone, native)


def test_every_language_has_its_row_of_dates():
    for check in (
        test_a_day_has_its_weekday_and_its_month_in_words,
        test_a_day_in_narrow_places_and_in_the_scripts_own_digits,
    ):
        assert {row[0] for row in check.pytestmark[0].args[1]} == set(LANGUAGES)


@pytest.mark.parametrize("tag", LANGUAGES)
def test_no_pattern_uses_stand_alone_names_which_leak_from_one_language_into_the_next(tag):
    spoken = LANGUAGES[tag]
    letters = re.sub(r"'[^']*'", "", spoken.date_pattern + spoken.short_date_pattern)
    assert not re.search("[Lcq]", letters)


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
        assert not re.search(r"[/.]|\d-|-\d", text)
    bare = re.sub("[،,()]", "", long_date(day, LANGUAGES[tag]))
    numbers = [part for part in bare.split() if part.isdigit()]
    told = [str(day.day), str(day.year)]
    if tag == "ne" and day < date(2044, 4, 13):
        assert numbers[2:] == told  # behind the day of the Bikram Sambat, which has numbers of its own
    else:
        assert numbers == told


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


@pytest.mark.parametrize(
    ("tag", "time", "words"),
    [
        ("sw", "06:00", "saa 12 asubuhi"),
        ("sw", "07:00", "saa 1 asubuhi"),
        ("sw", "12:00", "saa 6 mchana"),
        ("sw", "17:00", "saa 11 jioni"),
        ("sw", "19:00", "saa 1 usiku"),
        ("sw", "22:00", "saa 4 usiku"),
        ("sw", "06:30", "saa 12:30 asubuhi"),
        ("hi", "06:00", "सुबह 6 बजे"),
        ("hi", "14:30", "दोपहर 2:30 बजे"),
        ("hi", "00:00", "रात 12 बजे"),
        ("bn", "17:00", "বিকেল 5টা"),
        ("bn", "19:00", "সন্ধ্যা 7টা"),
        ("ta", "22:00", "இரவு 10 மணி"),
        ("te", "12:00", "మధ్యాహ్నం 12 గం."),
        ("ur", "17:00", "شام 5 بجے"),
        ("ar", "13:00", "1 بعد الظهر"),
        ("ar", "17:00", "5 عصرًا"),
        ("ar", "19:00", "7 مساءً"),
    ],
)
def test_a_time_is_told_as_people_say_it(tag, time, words):
    assert without_marks(spoken(time, translator(tag))) == words


# Each part of the day at its first and last minute, as English would say it by twelve hours (the day
# periods of CLDR for Hindi and Bengali, joined), and as Swahili counts: from six, with an earlier night.
PARTS = [
    ("12", "00:00", "12 at night"),
    ("12", "03:59", "3:59 at night"),
    ("12", "04:00", "4 in the morning"),
    ("12", "11:59", "11:59 in the morning"),
    ("12", "12:00", "12 at noon"),
    ("12", "12:59", "12:59 at noon"),
    ("12", "13:00", "1 in the afternoon"),
    ("12", "15:59", "3:59 in the afternoon"),
    ("12", "16:00", "4 in the late afternoon"),
    ("12", "17:59", "5:59 in the late afternoon"),
    ("12", "18:00", "6 in the evening"),
    ("12", "19:59", "7:59 in the evening"),
    ("12", "20:00", "8 at night"),
    ("12", "23:59", "11:59 at night"),
    ("from six", "03:59", "9:59 at night"),
    ("from six", "04:00", "10 in the morning"),
    ("from six", "06:05", "12:05 in the morning"),
    ("from six", "18:59", "12:59 in the evening"),
    ("from six", "19:00", "1 at night"),
]


@pytest.mark.parametrize(("hours", "time", "words"), PARTS)
def test_each_part_of_the_day_begins_and_ends_at_its_minute(hours, time, words):
    like = replace(LANGUAGES["en"], hours=hours, night="19:00" if hours == "from six" else "20:00")
    assert spoken(time, replace(translator("en"), language=like)) == words


def test_which_languages_speak_by_which_hours_and_from_when_on_it_is_night():
    assert {tag: (one.hours, one.night) for tag, one in LANGUAGES.items() if one.hours != "24"} == {
        **dict.fromkeys(("bn", "hi", "ta", "te", "ur", "ar"), ("12", "20:00")),
        "sw": ("from six", "19:00"),
    }


@pytest.mark.parametrize("tag", ["en", "fr", "es", "pt", "ne"])
def test_who_speaks_by_the_24_hour_clock_is_told_the_figure_alone(tag):
    assert spoken("17:00", translator(tag)) is None


@pytest.mark.parametrize("tag", [tag for tag in LANGUAGES if LANGUAGES[tag].hours != "24"])
def test_no_two_hours_of_a_day_are_told_alike(tag):
    times = [f"{hour:02d}:{minute:02d}" for hour in range(24) for minute in (0, 30)]
    assert len({spoken(time, translator(tag)) for time in times}) == 48


@pytest.mark.parametrize("day", [date(1918, 4, 12), date(2044, 4, 13), date(2060, 1, 1)])
def test_a_day_that_the_bikram_sambat_of_the_library_does_not_reach_stands_in_the_common_calendar(day):
    assert str(day.year) in long_date(day, LANGUAGES["ne"])
    assert "(" not in long_date(day, LANGUAGES["ne"])


def test_a_day_at_the_beginning_of_a_line_has_a_capital_where_the_script_has_capitals():
    day = date(2026, 3, 5)
    assert opening(long_date(day, LANGUAGES["fr"])) == "Jeudi 5 mars 2026"
    assert opening(long_date(day, LANGUAGES["hi"])) == long_date(day, LANGUAGES["hi"])
