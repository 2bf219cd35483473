"""A day as people type it: day first, then the month, the year where it is another than they think.

"5 11", "05/11/26", "0511" and "5 Nov" are one day everywhere in the clinic, whatever the computer's
own order of dates is. What can be read in two ways is refused and never guessed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from typing import Literal

from babel import Locale

from followup.errors import FollowupError
from followup.language.languages import Language
from followup.said import say

Lean = Literal["past", "future", "near", "birth"]
"""Which year is meant where none is typed: the last such day up to today, the next one from today on,
whichever is nearer, or none at all: a birth needs its year."""
LONGEST = 60
"""Characters: nobody writes a longer day."""
_NEAR_ALIKE = 60
"""Days: two years' days that lie about as far from today are two readings."""
_LIFE = 120
_REACH = {"past": 60, "future": 60, "near": 60, "birth": _LIFE}
"""Years around today within which two typed digits of a year are looked for."""


def typed_day(text: str, today: date, language: Language, lean: Lean = "near") -> date:
    """The one day that was typed.

    Error: ``day.typed``, which says why it is none, or which two it could be.
    """
    plain = _latin(text).strip()
    if len(plain) > LONGEST:
        raise _refused(say("that is no day"))
    if whole := re.fullmatch(r"(\d{4})[-/. ](\d{1,2})[-/. ](\d{1,2})", plain):
        return _day(int(whole[1]), int(whole[2]), int(whole[3]))
    if plain.isdigit():
        return _run(plain, today, lean)
    parts = [part for part in re.split(r"[\s,./\-،।]+", plain) if part]
    if len(parts) in (2, 3) and parts[0].isdigit() and all(p.isdigit() for p in parts[2:]):
        month = int(parts[1]) if parts[1].isdigit() else _month(parts[1], language)
        return _with_year(int(parts[0]), month, parts[2] if parts[2:] else "", today, lean)
    raise _refused(say("that is no day"))


def day_in_box(day: date) -> str:
    """The day as a box holds it: "5 11 2026"."""
    return f"{day.day} {day.month} {day.year}"


def _latin(text: str) -> str:
    """The text with the digits of any script as those of the Latin one."""
    return "".join(str(int(c)) if c.isdecimal() else c for c in text)


def _run(digits: str, today: date, lean: Lean) -> date:
    """Digits without a gap: two each for day and month, the rest for the year, which may come first."""
    orders = [(digits[:2], digits[2:4], digits[4:])]
    if len(digits) == 8:
        orders.append((digits[6:], digits[4:6], digits[:4]))
    found: list[date] = []
    for day, month, year in orders if len(digits) in (4, 6, 8) else ():
        try:
            one = _with_year(int(day), int(month), year, today, lean)
        except FollowupError:
            continue
        if abs(one.year - today.year) <= _LIFE:
            found.append(one)
    if not found:
        raise _refused(say("that is no day"))
    return _only(found)


def _month(word: str, language: Language) -> int:
    """The month whose name begins so, in the page's language or in English."""
    sought, found = word.casefold(), set[int]()
    for tag in (language.tag, "en"):
        for names in Locale.parse(tag.replace("-", "_")).months["format"].values():
            for number, name in names.items():
                known = name.casefold().rstrip(".")
                if known == sought:
                    return int(number)
                if len(sought) >= 3 and known.startswith(sought):
                    found.add(int(number))
    if len(found) != 1:
        raise _refused(say("there is no month of this name"))
    return found.pop()


def _with_year(day: int, month: int, year: str, today: date, lean: Lean) -> date:
    if len(year) not in (0, 2, 4):
        raise _refused(say("the year has two or four digits"))
    if len(year) == 4:
        return _day(int(year), month, day)
    if not year and lean == "birth":
        raise _refused(say("the year is missing"))
    # A leap day is one, in whatever year it is looked for.
    _day(2000, month, day)
    found = list(_days(day, month, year, today, lean))
    if not found:
        raise _refused(say("write the year in four digits"))
    if year or lean == "birth":
        return _only(found)
    if lean == "past":
        return max(found)
    if lean == "future":
        return min(found)
    before, after = (d for d in found if d < today), (d for d in found if d >= today)
    last, following = max(before), min(after)
    gaps = (today - last).days, (following - today).days
    if abs(gaps[0] - gaps[1]) < _NEAR_ALIKE:
        _only([last, following])
    return last if gaps[0] < gaps[1] else following


def _days(day: int, month: int, year: str, today: date, lean: Lean) -> Iterator[date]:
    """Every day within reach that may be meant."""
    reach = _REACH[lean] if year else 8
    for one in range(today.year - reach, today.year + reach + 1):
        if year and one % 100 != int(year):
            continue
        try:
            found = date(one, month, day)
        except ValueError:
            continue
        if (found <= today or lean in ("future", "near")) and (found >= today or lean != "future"):
            yield found


def _only(found: list[date]) -> date:
    if len(set(found)) > 1:
        one, other = sorted(set(found))[:2]
        raise _refused(say("that could be {one} or {other}", one=one, other=other))
    return found[0]


def _day(year: int, month: int, day: int) -> date:
    if not 1 <= month <= 12:
        raise _refused(say("the day comes first, then the month"))
    try:
        return date(year, month, day)
    except ValueError:
        raise _refused(say("this month has no such day")) from None


def _refused(why: str) -> FollowupError:
    return FollowupError("day.typed", why, fix=say("write day and month, such as 5 11"))
