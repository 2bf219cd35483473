"""Where everything stands in a TOML file: entries, keys and values with their places in the text.

The standard reader gives values without places. This one knows what the data files use; a test holds
its values against the standard reader's.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field

_BARE = re.compile(r"[A-Za-z0-9_-]+|\"[^\"]*\"")
_SCALAR = re.compile(r"[^\s,\]}#]+")


@dataclass
class Value:
    """A value and its place; ``items`` of a list, ``pairs`` of an inline table."""

    start: int
    end: int = 0
    value: object = None
    items: list[Value] | None = None
    pairs: list[Pair] | None = None

    def everything(self) -> Iterator[Value]:
        yield self
        for item in self.items or ():
            yield from item.everything()
        for pair in self.pairs or ():
            yield from pair.value.everything()


@dataclass
class Pair:
    key: str
    start: int
    value: Value


@dataclass
class Entry:
    """A table from its heading to the next: ``path`` is its name, ``repeated`` an element of an array."""

    path: str
    start: int
    end: int
    repeated: bool
    body: int = 0
    pairs: list[Pair] = field(default_factory=list)

    @property
    def label(self) -> str:
        """The table and what tells it from its like."""
        for pair in self.pairs:
            if pair.key in ("id", "name"):
                return f"{self.path} {pair.value.value}"
        return self.path


def entries(text: str) -> list[Entry]:
    return _Reader(text).entries()


class _Reader:
    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0

    def entries(self) -> list[Entry]:
        found = [Entry("", 0, len(self.text), repeated=False)]
        while self._skip() < len(self.text):
            start = self.at
            if self.text.startswith("[", start):
                brackets = 2 if self.text.startswith("[[", start) else 1
                end = self.text.index("]" * brackets, start)
                found[-1].end = start
                path = self.text[start + brackets : end].strip()
                self.at = end + brackets
                found.append(Entry(path, start, len(self.text), brackets == 2, self.at))
            else:
                found[-1].pairs.append(self._pair())
        return found

    def _skip(self) -> int:
        """Past blanks, line ends and comments."""
        while self.at < len(self.text):
            if self.text[self.at].isspace():
                self.at += 1
            elif self.text[self.at] == "#":
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            else:
                break
        return self.at

    def _pair(self) -> Pair:
        start, key = self.at, ""
        while True:
            part = _BARE.match(self.text, self.at)
            assert part, f"no key at {self.at}: {self.text[self.at : self.at + 40]!r}"
            key += part.group().strip('"')
            self.at = part.end()
            self._skip()
            if self.text[self.at] == ".":
                self.at, key = self.at + 1, f"{key}."
                continue
            assert self.text[self.at] == "=", f"no = at {self.at}"
            self.at += 1
            self._skip()
            return Pair(key, start, self._value())

    def _value(self) -> Value:
        made = Value(self.at)
        opening = self.text[self.at]
        if opening == "[":
            made.items = list(self._list("]", self._value))
            made.value = [item.value for item in made.items]
        elif opening == "{":
            made.pairs = list(self._list("}", self._pair))
            made.value = {pair.key: pair.value.value for pair in made.pairs}
        else:
            self.at = self._end_of_scalar()
            made.value = tomllib.loads(f"v = {self.text[made.start : self.at]}")["v"]
        made.end = self.at
        return made

    def _list(self, closing: str, one):
        self.at += 1
        while self.text[self._skip()] != closing:
            yield one()
            if self.text[self._skip()] == ",":
                self.at += 1
        self.at += 1

    def _end_of_scalar(self) -> int:
        for quote in ('"""', "'''"):
            if self.text.startswith(quote, self.at):
                return self.text.index(quote, self.at + 3) + 3
        if self.text[self.at] == '"':
            end = self.at + 1
            while self.text[end] != '"':
                end += 2 if self.text[end] == "\\" else 1
            return end + 1
        if self.text[self.at] == "'":
            return self.text.index("'", self.at + 1) + 1
        scalar = _SCALAR.match(self.text, self.at)
        assert scalar, f"no value at {self.at}"
        return scalar.end()
