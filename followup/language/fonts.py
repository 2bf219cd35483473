"""The fonts that travel with the program: where they lie, and which characters they can draw."""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from pathlib import Path

import fontpkg
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

from followup.errors import FollowupError
from followup.language.languages import LANGUAGES, Language
from followup.said import say

# Direction marks and joiners shape the text and draw nothing.
_INVISIBLE = frozenset("\u200c\u200d\u2066\u2067\u2068\u2069\n")


def families() -> tuple[str, ...]:
    """Every family that some language prints in, each once."""
    return tuple(dict.fromkeys(f for language in LANGUAGES.values() for f in language.fonts))


@lru_cache(maxsize=32)
def font_file(family: str, weight: int = 400) -> Path:
    """The file of a family. Raises FollowupError where its package is not installed."""
    try:
        return Path(fontpkg.path(family, weight=weight))
    except fontpkg.FontpkgError as exc:
        raise FollowupError(
            "language.font",
            say("the font {family} is missing: {why}", family=family, why=exc),
            fix=say("install the program again"),
        ) from None


def font_folders() -> list[Path]:
    """The folders that hold the font files, for the typesetter."""
    return sorted({font_file(family).parent for family in families()})


def fallback(language: Language) -> tuple[str, ...]:
    """The families to try in this language: its own first, then every other for names."""
    return tuple(dict.fromkeys((*language.fonts, *families())))


def uncovered(text: str) -> tuple[str, ...]:
    """The characters of ``text`` that no shipped font draws, each once, in order."""
    return tuple(dict.fromkeys(c for c in text if c not in _INVISIBLE and not _prints(c)))


def must_be_covered(text: str, where: str) -> None:
    """Refuse text that would print with holes.

    Raises FollowupError ``language.glyph`` naming the first character and, in words, what it is.
    """
    for character in uncovered(text):
        known = unicodedata.name(character, "a character without a name")
        raise FollowupError(
            "language.glyph",
            say(
                "no shipped font can print U+{character} ({known})",
                character=format(ord(character), "04X"),
                known=known.lower(),
            ),
            where=where,
            fix=say("write it in Latin letters or in the script of the sheet"),
        )


def printable_name(name: str, latin: str | None, where: str) -> str:
    """``name``, or its romanised form where no shipped font draws the script that it is written in.

    Raises FollowupError ``language.glyph`` where neither can be printed.
    """
    if not uncovered(name):
        return name
    if latin and not uncovered(latin):
        return latin
    must_be_covered(name, where)
    raise AssertionError("unreachable: the name was found uncovered")


def _prints(character: str) -> bool:
    # Control, private and unassigned characters and the replacement mark stand for lost text.
    lost = unicodedata.category(character) in ("Cc", "Cn", "Co", "Cs") or character == "\ufffd"
    return not lost and ord(character) in _covered()


@lru_cache(maxsize=1)
def _covered() -> frozenset[int]:
    found: set[int] = set()
    for family in families():
        with TTFont(font_file(family), lazy=True) as font:
            found.update(font.getBestCmap())
    return frozenset(found)
