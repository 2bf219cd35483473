"""Keeping numbers, names and codes whole inside text that runs the other way.

Without isolation "+44 20 7946 0000" prints with its groups reversed in an Arabic line.
The marks are the Unicode isolates of UAX #9, which paper and pages both obey.
"""

from __future__ import annotations

import unicodedata

from followup.language.languages import Language

LEFT_TO_RIGHT = "\u2066"
FIRST_STRONG = "\u2068"
END = "\u2069"

_MARKS = str.maketrans("", "", "\u2066\u2067\u2068\u2069\u200e\u200f\u202a\u202b\u202c\u202d\u202e")


def number(text: str, language: Language) -> str:
    """A telephone number, time, code or strength: always read from left to right."""
    return f"{LEFT_TO_RIGHT}{text}{END}" if language.rtl else text


def name(text: str, language: Language) -> str:
    """A person's or medicine's name, read in its own script's direction."""
    return f"{FIRST_STRONG}{text}{END}" if language.rtl or _has_rtl(text) else text


def without_marks(text: str) -> str:
    """``text`` without direction marks: names are cleaned before, texts compared after."""
    return text.translate(_MARKS)


def _has_rtl(text: str) -> bool:
    return any(unicodedata.bidirectional(c) in ("R", "AL") for c in text)
