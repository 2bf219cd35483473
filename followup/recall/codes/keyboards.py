"""What a hand scanner typed, whatever keyboard the computer believes it to be.

A scanner sends the keys of a US keyboard. Where the computer is set to another layout, other
characters arrive. The tables give, for each layout, what the keys of digits and letters type
there, plain and with shift; only those that differ from the US layout are named. They are from
memory of the layouts (French and Belgian AZERTY, German and Swiss QWERTZ, Arabic 101); a wrong
entry can only fail to read a code, as every code carries a keyed tag.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

_FRENCH = {
    **dict(zip("1234567890", "&é\"'(-è_çà", strict=True)),
    **dict(zip("QWAZqwaz", "AZQWazqw", strict=True)),
    "M": "?",
    "m": ",",
}
_GERMAN = dict(zip("YZyz", "ZYzy", strict=True))
_ARABIC = {
    **dict(zip("QWERYUIOPASDFHJKLZXCVNM", "ًٌَُإ‘÷×؛ٍِ][أـ،/~ْ}{آ’", strict=True)),
    **{"T": "لإ", "G": "لأ", "B": "لآ", "b": "لا"},
    **dict(zip("qwertyuiopasdfghjklzxcvnm", "ضصثقفغعهخحشسيبلاتنمئءؤرىة", strict=True)),
}
LAYOUTS: Mapping[str, Mapping[str, str]] = {
    "French": _FRENCH,
    "Belgian": {**_FRENCH, "6": "§", "8": "!"},
    "German": _GERMAN,
    "Arabic": _ARABIC,
}


def readings(text: str) -> Iterator[str]:
    """What a scanner may have read: the text as it is, then as each layout would have changed it."""
    yield text
    for keys in LAYOUTS.values():
        back = _back(text, keys)
        if back != text:
            yield back


def _back(text: str, keys: Mapping[str, str]) -> str:
    """The text that was sent. Two characters for one key (Arabic lam-alif) are tried first."""
    typed = {shown: key for key, shown in keys.items()}
    found, at = "", 0
    while at < len(text):
        pair = text[at : at + 2]
        if len(pair) == 2 and pair in typed:
            found, at = found + typed[pair], at + 2
        else:
            found, at = found + typed.get(text[at], text[at]), at + 1
    return found
