"""Check characters after ISO/IEC 7064, MOD 37,36 (a hybrid system over digits and A to Z)."""

from __future__ import annotations

CHARACTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_M = len(CHARACTERS)


def check_character(text: str) -> str:
    """The character that completes ``text`` (digits and capital letters only).

    Finds every single wrong character and nearly every exchange of two neighbours.

    >>> check_character("A12425GABC1234002")
    'M'
    """
    carry = _M
    for character in text:
        carry = _next(carry, CHARACTERS.index(character))
    return CHARACTERS[(_M + 1 - carry) % _M]


def is_complete(text: str) -> bool:
    """Whether the last character of ``text`` is the check character of the rest."""
    return len(text) > 1 and check_character(text[:-1]) == text[-1]


def _next(carry: int, value: int) -> int:
    sum_ = (carry + value) % _M or _M
    return sum_ * 2 % (_M + 1)
