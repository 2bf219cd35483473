"""A text in sentences: runs of words that are read together."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from followup.telling.words import Token

_ENDS = frozenset((".", ";", "!", "।", "•"))
_WRAPPED, _LONG = 50, 70
"""Characters: a line that goes on in small letters or figures, or any long one, was wrapped and not ended."""
_ITEM = re.compile(r"\d+[.)]\s|[-*•]\s")
_DICTATED = 2
"""Signs said aloud: a single "period" may be a word like any other."""


def with_signs(tokens: Sequence[Token], signs: Mapping[tuple[str, ...], str]) -> tuple[Token, ...]:
    """The tokens with signs for what dictation says aloud ("full stop", "comma"), where it says several."""
    found: list[Token] = []
    said = at = 0
    while at < len(tokens):
        two, one = tokens[at : at + 2], tokens[at : at + 1]
        run = two if tuple(token.word for token in two) in signs else one
        sign = signs.get(tuple(token.word for token in run))
        found.append(Token(run[0].start, run[-1].end, sign, "sign") if sign else tokens[at])
        said += sign is not None
        at += len(run)
    return tuple(found) if said >= _DICTATED else tuple(tokens)


def sentences_of(text: str, tokens: Sequence[Token]) -> Iterator[tuple[Token, ...]]:
    """The sentences, without the signs that end them; a question mark stays, it is a hedge."""
    found: list[Token] = []
    for number, token in enumerate(tokens):
        if token.word == "\n" and _wrapped(text, token):
            continue
        if token.word == "\n" or token.word in _ENDS:
            yield from _whole(found)
            found = []
            continue
        found.append(token)
        if token.word == "?" and number and tokens[number - 1].end == token.start:
            yield from _whole(found)
            found = []
    yield from _whole(found)


def _whole(found: list[Token]) -> Iterator[tuple[Token, ...]]:
    if any(token.kind != "sign" for token in found):
        yield tuple(found)


def _wrapped(text: str, end: Token) -> bool:
    line = text[text.rfind("\n", 0, end.start) + 1 : end.start].rstrip()
    rest = text[end.end :]
    if not rest[:1].strip() or _ITEM.match(rest):
        return False
    return len(line) >= (_WRAPPED if rest[0].islower() or rest[0].isdecimal() else _LONG)
