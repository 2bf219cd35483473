"""Days and times as a patient reads them: weekday, day, month in words, year; 24-hour clock.

Short dates are never used: 5 March is "3/5/26" in one language and "5/3/26" in the next.
Digits are Latin in all that must be kept to; the script's own may stand beside them.
"""

from __future__ import annotations

from datetime import date

from babel.dates import format_date

from followup.language.catalogues import Translator
from followup.language.digits import native_digits
from followup.language.direction import number
from followup.language.languages import Language

_MORNING = "05:00"


def long_date(day: date, language: Language) -> str:
    """ "Monday 1 June 2026" in the patient's language."""
    return format_date(day, language.date_pattern, locale=language.tag)


def short_date(day: date, language: Language) -> str:
    """ "1 June": the month still in words, for narrow places beside a full date."""
    return format_date(day, language.short_date_pattern, locale=language.tag)


def weekday(day: date, language: Language) -> str:
    """ "Monday", standing alone."""
    # Not the stand-alone name ("cccc"): once Babel 2.18 has looked one up it gives every other
    # language the first one's names (python-babel issue 1234).
    return format_date(day, "EEEE", locale=language.tag)


def native_date(day: date, language: Language) -> str | None:
    """Day, month and year in the digits of the language's own script, to stand beside the long date.

    None where the language writes Latin digits.
    """
    return native_digits(format_date(day, "d MMMM y", locale=language.tag), language)


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
