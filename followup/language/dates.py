"""Days and times as a patient reads and says them.

A day is weekday, day, month in words and year; in Nepali that of the Bikram Sambat, which people
there live by, with the other beside it. A time is on the 24-hour clock, and beside it as it is said.
Short dates are never used: 5 March is "3/5/26" in one language and "5/3/26" in the next.
Digits are Latin in all that must be kept to; the script's own may stand beside them.
"""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache

import nepali_datetime  # type: ignore[import-untyped]
from babel import Locale
from babel.dates import format_date

from followup.language.catalogues import N_, Translator
from followup.language.digits import native_digits
from followup.language.direction import number
from followup.language.languages import Language

_MORNING = "05:00"
# The year at the end of a pattern, with the word before it.
_LAST_YEAR = re.compile(r"(,| 'de')? y$")


# Translators: a time of day as people say it; %(hour)s is the hour as it is counted when speaking,
# with its minutes where there are any, such as 6 or 6:30. The part of the day belongs to it.
_SPOKEN = {
    "morning": N_("%(hour)s in the morning"),
    "noon": N_("%(hour)s at noon"),
    "afternoon": N_("%(hour)s in the afternoon"),
    "late afternoon": N_("%(hour)s in the late afternoon"),
    "evening": N_("%(hour)s in the evening"),
    "night": N_("%(hour)s at night"),
}


@lru_cache(maxsize=4096)
def _formatted(day: date, pattern: str, tag: str) -> str:
    """A list tells few days, each of them many times."""
    return format_date(day, pattern, locale=tag)


def long_date(day: date, language: Language) -> str:
    """ "Monday 1 June 2026" in the patient's language, within a sentence."""
    own = _own_day(day, language, year=True)
    if own is not None:
        return f"{weekday(day, language)}, {own} ({_formatted(day, 'd MMMM y', language.tag)})"
    return _formatted(day, language.date_pattern, language.tag)


def told_date(day: date, language: Language, year: int | None) -> str:
    """ "Monday 1 June 2026", and "Monday 1 June" where ``year`` is the one that everybody is in."""
    if day.year != year:
        return long_date(day, language)
    own = _own_day(day, language, year=False)
    if own is not None:
        return f"{weekday(day, language)}, {own} ({_formatted(day, 'd MMMM', language.tag)})"
    return _formatted(day, _LAST_YEAR.sub("", language.date_pattern), language.tag)


def short_date(day: date, language: Language) -> str:
    """ "1 June": the month still in words, for narrow places beside a full date."""
    told = _formatted(day, language.short_date_pattern, language.tag)
    own = _own_day(day, language, year=False)
    return told if own is None else f"{own} ({told})"


def row_day(day: date, language: Language) -> str:
    """ "Mon 1 June": for the first column of a table."""
    return opening(day_in_row(day, language))


def day_in_row(day: date, language: Language) -> str:
    """The same within a phrase: "del lun 1 de junio"."""
    return _whole(f"{short_weekday(day, language)} {short_date(day, language)}")


def row_days(start: date, end: date, language: Language) -> str:
    """ "Mon 1 – Tue 9 June": a run of days for the first column of a table, both included."""
    if start == end:
        return row_day(start, language)
    first = row_day(start, language)
    if (start.year, start.month) == (end.year, end.month) and language.calendar == "gregorian":
        first = opening(_whole(f"{short_weekday(start, language)} {start.day}"))
    last = day_in_row(end, language)
    between = str(Locale.parse(language.tag).interval_formats[None])
    return between.replace("{0}", first).replace("{1}", last)


def _whole(day: str) -> str:
    """The day on one line; the same day in another calendar may stand on the next."""
    return day.replace(" ", "\u00a0").replace("\u00a0(", " (")


def _own_day(day: date, language: Language, *, year: bool) -> str | None:
    """The day in the language's own calendar. None where that is the common one, or does not reach so far.

    The Bikram Sambat's months have no rule; the library knows its years 1975 to 2100 (to April 2044).
    """
    if language.calendar == "gregorian":
        return None
    try:
        own = nepali_datetime.date.from_datetime_date(day)
    except (OverflowError, ValueError):
        return None
    return f"{own.day} {own.strftime('%N')}" + (f" {own.year}" if year else "")


def opening(text: str) -> str:
    """A text that begins with a day, as it stands at the beginning of a line."""
    return text[:1].upper() + text[1:]


def weekday(day: date, language: Language) -> str:
    """ "Monday", standing alone."""
    # Not the stand-alone name ("cccc"): once Babel 2.18 has looked one up it gives every other
    # language the first one's names (python-babel issue 1234).
    return _formatted(day, "EEEE", language.tag)


def short_weekday(day: date, language: Language) -> str:
    """ "Mon", over a narrow column."""
    return _formatted(day, "EEE", language.tag)


def month(day: date, language: Language) -> str:
    """ "June 2026", standing alone."""
    return opening(_formatted(day, "MMMM y", language.tag))


def short_month(day: date, language: Language) -> str:
    """ "Jun", under a narrow column."""
    return _formatted(day, "MMM", language.tag)


def native_date(day: date, language: Language) -> str | None:
    """Day, month and year in the digits of the language's own script, to stand beside the long date.

    None where the language writes Latin digits.
    """
    own = _own_day(day, language, year=True)
    return native_digits(own or _formatted(day, "d MMMM y", language.tag), language)


def clock(time: str, translator: Translator, *, rise: str) -> str:
    """A time of the patient's day that began at ``rise``; past midnight it says so in words."""
    shown = number(time, translator.language)
    if time >= rise:
        return shown
    if time < _MORNING:
        # Translators: a time of day after midnight that still belongs to the evening before.
        return translator.gettext("%(time)s (after midnight)") % {"time": shown}
    # Translators: a time of day of the next morning, for someone who sleeps by day.
    return translator.gettext("%(time)s (next morning)") % {"time": shown}


def hour_words(time: str, translator: Translator) -> str:
    """A clock time in a sentence: on the clock of 24 hours, and as people say it where that differs."""
    figure, said = number(time, translator.language), spoken(time, translator)
    if said is None:
        return figure
    # Translators: a time of day, first on the clock of 24 hours, then as people say it.
    return translator.gettext("%(hour)s (%(spoken)s)") % {"hour": figure, "spoken": said}


def spoken(time: str, translator: Translator) -> str | None:
    """A clock time such as "17:30" as people say it: "5:30 in the evening".

    None where the language speaks by the 24-hour clock.
    """
    language = translator.language
    said = said_hour(time, language)
    return said and translator.gettext(_SPOKEN[_part(time, language)]) % {"hour": said}


def said_hour(time: str, language: Language) -> str | None:
    """The hour of "17:30" as people count it, "5:30"; None where they count as the clock of 24 hours does."""
    if language.hours == "24":
        return None
    hour = int(time[:2]) + (6 if language.hours == "from six" else 0)
    return number(str(hour % 12 or 12) + ("" if time[3:] == "00" else time[2:]), language)


def _part(time: str, language: Language) -> str:
    """The part of the day that belongs to a spoken time (the day periods of CLDR, joined to six)."""
    if not "04:00" <= time < language.night:
        return "night"
    if time < "12:00":
        return "morning"
    if time < "13:00":
        return "noon"
    if time < "16:00":
        return "afternoon"
    return "late afternoon" if time < "18:00" else "evening"
