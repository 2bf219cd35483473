"""Numbers in the digits of a language's own script, beside the Latin ones and never instead.

A Bengali four looks like an eight to a nurse from elsewhere, so doses and times are always in
Latin digits; who reads only the own script's digits finds dates in them as well.
"""

from __future__ import annotations

from followup.language.languages import LATIN_DIGITS, Language


def native_digits(text: str, language: Language) -> str | None:
    """``text`` with every Latin digit in the language's own; None where those are the Latin ones."""
    if language.digits == LATIN_DIGITS:
        return None
    return text.translate(str.maketrans(LATIN_DIGITS, language.digits))
