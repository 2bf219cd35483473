"""What may be said of a clinic: each answer checked by itself, when it is given and when it is changed."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from difflib import get_close_matches
from types import MappingProxyType
from typing import Final
from zoneinfo import available_timezones

from followup.errors import FollowupError
from followup.language.entered import must_print_text
from followup.language.languages import LANGUAGES
from followup.timing.calendar_entries import WEEKDAYS

MOST_OF_A_CODE = 8
_TELEPHONE = re.compile(r"\+?[0-9][0-9 ()./-]*")
_FEWEST_DIGITS = 3


def name(text: str) -> str:
    """The clinic's name as patients know it."""
    return must_print_text(_something("name", text, "give the name that patients know"), "clinic: name")


def code(text: str) -> str:
    """The short code that stands in the return codes."""
    said = text.strip()
    if not (said.isascii() and said.isalnum() and said == said.upper() and len(said) <= MOST_OF_A_CODE):
        raise _refused(
            "code", f"{said or 'nothing'} can't stand in a code", "use 1 to 8 capital letters and digits"
        )
    return said


def telephone(text: str) -> str:
    """A number that can be dialled."""
    said = text.strip()
    if not _TELEPHONE.fullmatch(said) or sum(c.isdigit() for c in said) < _FEWEST_DIGITS:
        raise _refused(
            "phone",
            f"{said or 'nothing'} is no telephone number",
            "write its digits, such as +44 20 7946 0101",
        )
    return said


def zone(text: str) -> str:
    """An IANA time zone, however its letters are written."""
    said = text.strip()
    known = {one.casefold(): one for one in available_timezones()}
    if said.casefold() not in known:
        near = get_close_matches(said.casefold(), known, 1, 0.6)
        near += [
            one for one in sorted(known) if said and one.endswith("/" + said.casefold().replace(" ", "_"))
        ]
        fix = f"did you mean {known[near[-1]]}?" if near else "give an IANA name such as Asia/Kolkata"
        raise _refused("zone", f"{said or 'nothing'} is no time zone", fix)
    return known[said.casefold()]


def sheet_language(text: str) -> str:
    """A language that sheets have words in."""
    return _one_of("languages", text, sorted(LANGUAGES))


def staff_language(text: str, offered: tuple[str, ...]) -> str:
    """A language that pages have words in."""
    return _one_of("staff language", text, offered)


def open_days(text: str) -> tuple[str, ...]:
    """Weekdays, such as "mon-sat" or "sun mon tue"; a run of days may go past the end of the week."""
    found: set[int] = set()
    for part in re.split(r"[\s,;]+", text.strip().casefold()):
        first, _, last = part.partition("-")
        start, end = _weekday(first), _weekday(last or first)
        found |= {(start + i) % 7 for i in range((end - start) % 7 + 1)}
    return tuple(day for i, day in enumerate(WEEKDAYS) if i in found)


def printed(of: str) -> Callable[[str], str]:
    """A line that stands on sheets; it may be empty."""

    def read(text: str) -> str:
        return must_print_text(text.strip(), f"clinic: {of}")

    return read


# How each option of the clinic is read, by the name of its field.
READERS: Final[Mapping[str, Callable[[str], str]]] = MappingProxyType(
    {
        "name": name,
        "code": code,
        "phone_day": telephone,
        "phone_night": telephone,
        "zone": zone,
        "address": printed("address"),
        "nearest_eye_clinic": printed("nearest eye clinic"),
    }
)


def _weekday(text: str) -> int:
    found = [i for i, day in enumerate(WEEKDAYS) if len(text) > 2 and day.startswith(text)]
    if not found:
        raise _refused(
            "open days",
            f"{text or 'nothing'} is no day of the week",
            "write them such as mon-fri, or sun mon tue",
        )
    return found[0]


def _something(field: str, text: str, fix: str) -> str:
    if not text.strip():
        raise _refused(field, "nothing was given", fix)
    return text.strip()


def _one_of(field: str, text: str, offered: list[str] | tuple[str, ...]) -> str:
    said = text.strip().casefold()
    if said not in offered:
        raise _refused(field, f"there are no words in {said or 'nothing'}", f"choose of {', '.join(offered)}")
    return said


def _refused(field: str, what: str, fix: str) -> FollowupError:
    return FollowupError(f"clinic.{field.split()[0]}", what, where=f"clinic: {field}", fix=fix)
