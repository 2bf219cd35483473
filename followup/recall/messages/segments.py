"""How many parts a text message takes, after 3GPP TS 23.038 (alphabets) and 23.040 (joined parts)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

# The GSM 7 bit default alphabet (TS 23.038, 6.2.1), without the escape; and its extension table
# (6.2.1.1), whose characters take two places.
_BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_EXTENDED = frozenset("\f^{}\\[~]|€")
_ALONE = {"GSM-7": 160, "UCS-2": 70}
_JOINED = {"GSM-7": 153, "UCS-2": 67}


@dataclass(frozen=True)
class Segments:
    """``units``: places of the alphabet that the text takes; ``count``: parts that it is sent in."""

    alphabet: Literal["GSM-7", "UCS-2"]
    units: int
    count: int


def segments(text: str) -> Segments:
    """The parts of ``text``. No part ends inside an escaped or a surrogate pair.

    >>> segments("a" * 160).count, segments("a" * 161).count, segments("নমস্কার").alphabet
    (1, 2, 'UCS-2')
    """
    if all(character in _BASIC or character in _EXTENDED for character in text):
        return _counted("GSM-7", [2 if character in _EXTENDED else 1 for character in text])
    return _counted("UCS-2", [2 if ord(character) > 0xFFFF else 1 for character in text])


def _counted(alphabet: Literal["GSM-7", "UCS-2"], sizes: list[int]) -> Segments:
    units = sum(sizes)
    if units <= _ALONE[alphabet]:
        return Segments(alphabet, units, 1)
    room, count = 0, 0
    for size in sizes:
        if size > room:
            count, room = count + 1, _JOINED[alphabet]
        room -= size
    return Segments(alphabet, units, count)
