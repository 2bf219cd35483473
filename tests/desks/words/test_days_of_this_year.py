"""A day says its year only where that is another one than today's."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from followup.clinical.english import day_words
from followup.desks.words.texts import Texts
from followup.said import say

EVE, NEW_YEAR = date(2026, 12, 31), date(2027, 1, 1)


@pytest.mark.parametrize(
    ("tag", "now", "then"),
    [
        ("en", "Thursday 31 December", "Friday 1 January 2027"),
        ("fr", "jeudi 31 décembre", "vendredi 1 janvier 2027"),
        ("hi", "गुरुवार, 31 दिसंबर", "शुक्रवार, 1 जनवरी 2027"),
        ("bn", "বৃহস্পতিবার, 31 ডিসেম্বর", "শুক্রবার, 1 জানুয়ারি 2027"),
        ("ar", "الخميس، 31 ديسمبر", "الجمعة، 1 يناير 2027"),
    ],
)
def test_a_day_says_its_year_only_where_it_is_another_one(tag, now, then):
    texts = Texts(tag, 2026)
    assert (texts.day(EVE), texts.day(NEW_YEAR)) == (now, then)
    assert (texts.told(day_words(EVE)), texts.told(day_words(NEW_YEAR))) == (now, then)
    midnight = datetime(2026, 12, 31, 23, 59, tzinfo=UTC)
    assert texts.moment(midnight, ZoneInfo("UTC")).startswith(now)
    assert texts.moment(midnight, ZoneInfo("Asia/Kolkata")).startswith(then)
    assert texts.whole_day(EVE).endswith("2026")


def test_without_a_year_that_is_now_every_day_says_its_own():
    assert Texts("en").day(EVE) == "Thursday 31 December 2026"
    assert Texts("en").told(say("due {day}", day=day_words(EVE))) == "due 31 December 2026"
    assert Texts("en", 2026).told(say("due {day}", day=EVE)) == "due Thursday 31 December"
