"""Names, codes and telephone numbers as they are compared in a search."""

from __future__ import annotations

import unicodedata

# Accents of Latin, Greek and Cyrillic; vowel points and tatweel of Arabic. Vowel signs of the
# Indic scripts stay: without them other names would look alike.
_DROPPED = frozenset(
    [*range(0x0300, 0x0370), 0x0640, *range(0x064B, 0x0660), 0x0670, 0x200C, 0x200D, 0x200E, 0x200F]
)


def fold_name(name: str) -> str:
    """The name without case, accents, vowel points and doubled blanks.

    >>> fold_name("  JOSÉ   Álvares ")
    'jose alvares'
    """
    # Both twice: a folded letter may open into capitals, an opened one may fold once more.
    open_form = name
    for _ in range(2):
        open_form = unicodedata.normalize("NFKD", open_form.casefold())
    return " ".join("".join(c for c in open_form if ord(c) not in _DROPPED).split())


def fold_code(code: str) -> str:
    """The patient's code as it is compared: without case and blanks around it."""
    return code.strip().casefold()


def fold_phone(number: str) -> str:
    """The digits of a telephone number, in whatever script's digits they were typed.

    >>> fold_phone("+44 (0)20 7946-0123")
    '4402079460123'
    """
    return "".join(str(unicodedata.digit(c)) for c in number if unicodedata.digit(c, None) is not None)
