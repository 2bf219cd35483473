"""Words that a person typed, marked inside the program's own sentences.

A page puts the program's sentences and the words in them into the staff's language (see ``said``). What a
person typed may look like one of them and must be shown as it was typed: so it is kept between two
invisible signs, which also keep its own direction among words of the other direction. A text that a
person typed as a whole needs no marks: no page tells it.
"""

from __future__ import annotations

import re

_OPEN, _CLOSE = "\u2068", "\u2069"
TYPED = re.compile(f"{_OPEN}[^{_OPEN}{_CLOSE}]*{_CLOSE}")
_SIGNS = re.compile(f"[{_OPEN}{_CLOSE}]")


def typed(words: object) -> str:
    """What a person typed, to be put into a sentence of ours."""
    return f"{_OPEN}{plain(str(words))}{_CLOSE}"


def plain(text: str) -> str:
    """``text`` without the marks, for whoever looks for no sentences in it: programs and terminals."""
    return _SIGNS.sub("", text) if _SIGNS.search(text) else text


def holds_typed(text: str) -> bool:
    """Whether ``text`` is a sentence of ours with typed words in it."""
    return TYPED.search(text) is not None


def said(text: str) -> str:
    """A reason as a sentence of ours may hold it: marked whole, unless it is marked in part already."""
    return text if holds_typed(text) else typed(text)


def typed_in(text: str) -> str:
    """The words in ``text`` that a person typed; all of it where no mark says otherwise."""
    found = TYPED.findall(text)
    return plain(" ".join(found)) if found else text


def one_line(text: str) -> str:
    """``text`` without its own line ends, with one space between words."""
    return " ".join(text.split())
