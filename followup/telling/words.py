"""The words of a text with their places, folded so that case, accents and signs make no difference."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Literal

from followup.telling.model import Passage

_LETTER = r"(?:[^\W\d_]|[\u0300-\u036f\u0900-\u0963\u0970-\u097f])"
_TOKEN = re.compile(
    rf"\d+(?:[.,]\d+)?|(?<![\w.])\.\d+|(?:{_LETTER}\.){{2,}}|{_LETTER}+(?:['’]{_LETTER}+)?|\n|[^\w\s]|[\d_]"
)


@dataclass(frozen=True)
class Token:
    """One word, number or sign. ``word`` is its folded form; ``heard``: it was taken for that; ``guessed``:
    by its consonants alone."""

    start: int
    end: int
    word: str
    kind: Literal["word", "number", "sign"]
    heard: bool = False
    guessed: bool = False

    @property
    def place(self) -> Passage:
        return Passage(self.start, self.end)


def folded(text: str) -> str:
    """Without case and accents; "p.c.o." as "pco"."""
    plain = (
        unicodedata.normalize("NFKD", text.replace("’", "'").casefold()).replace("œ", "oe").replace("æ", "ae")
    )
    bare = "".join(sign for sign in plain if not "\u0300" <= sign <= "\u036f")
    return bare.replace(".", "") if bare[:1].isalpha() else bare


def tokens_of(text: str, elided: Collection[str] = ()) -> tuple[Token, ...]:
    """The words, numbers and signs of a text in their order; an end of line is a sign.

    ``elided``: what stands before an apostrophe as a word of its own, "l" of "l'iris".
    """
    return tuple(token for found in _TOKEN.finditer(text) for token in _apart(found, elided))


def _apart(found: re.Match[str], elided: Collection[str]) -> Iterator[Token]:
    text, start = found.group(), found.start()
    head, sign, rest = text.replace("’", "'").partition("'")
    if sign and rest and folded(head) in elided:
        yield Token(start, start + len(head), folded(head), "word")
        text, start = rest, start + len(head) + 1
    yield Token(start, found.end(), folded(text), _kind(text))


def _kind(text: str) -> Literal["word", "number", "sign"]:
    if text[-1].isdecimal():
        return "number"
    return "word" if text[0].isalpha() else "sign"
