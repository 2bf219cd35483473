"""TOML with line numbers: data files are refused by file and line, which tomllib alone cannot say.

tomllib reads the values; a second pass over the same text, which tomllib has found valid, notes
the line of every table, key, array item and inline table.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from functools import lru_cache
from math import isfinite
from pathlib import Path
from typing import Any, TypeAlias

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from followup.clinical.protocol.numbers import Dangling, Stamp, fill_numbers, stamps_of, values_of
from followup.errors import FollowupError

Place: TypeAlias = tuple[str | int, ...]
Locate: TypeAlias = Callable[..., int]

MAX_BYTES = 4_000_000

_BLANK = re.compile(r"(?:[ \t\n]+|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})'
    r"|'''.*?'''(?:'{0,2})"
    r'|"(?:[^"\\]|\\.)*"'
    r"|'[^']*'",
    re.DOTALL,
)
_PLAIN_VALUE = re.compile(r"\d{4}-\d\d-\d\d \d\d:[^\s,\]}#]*|[^\s,\]}#]+")


def load_toml(path: Path) -> tuple[dict[str, Any], Locate]:
    """The data of a TOML file and ``locate("rule", 3, "because")``, which gives its line from 1.

    Sentences come with their numbers filled in (see ``numbers``).

    ``locate`` takes the keys and array indexes that lead to a value; where the value itself does
    not stand in the file (a missing key) it gives the line of the nearest table around it.
    Raises FollowupError ``toml.missing``, ``toml.size`` or ``toml.syntax``.
    """
    text = _read(path)
    try:
        data, _, no_number = _filled(text, path.parent, *stamps_of(path.parent))
    except tomllib.TOMLDecodeError as exc:
        raise _syntax_error(path, str(exc)) from None
    except RecursionError:
        raise _syntax_error(path, "nested too deeply") from None

    def locate(*place: str | int) -> int:
        lines = _lines(text)
        for length in range(len(place), 0, -1):
            if place[:length] in lines:
                return lines[place[:length]]
        return 1

    if no_number:
        place, value = no_number
        raise FollowupError(
            "toml.number",
            f"{value} is no number that anything can be counted with",
            where=where(path, locate, *place),
            fix="write a number",
        )
    return data, locate


@lru_cache(maxsize=64)
def _lines(text: str) -> Mapping[Place, int]:
    """Where everything stands in valid TOML: looked for only where something is refused."""
    try:
        return _Scanner(text).scan()
    except RecursionError:  # nested as deeply as can just be read
        return {}


@lru_cache(maxsize=64)
def _filled(
    text: str, folder: Path, *stamps: Stamp
) -> tuple[dict[str, Any], Sequence[Dangling], tuple[Place, float] | None]:
    """Values with the folder's numbers in their sentences, what points nowhere, the first that is no number.
    Not to be changed: loading a protocol reads each of its files several times."""
    data = deepcopy(values_of(text))
    return data, fill_numbers(data, folder), next(_no_numbers(data), None)


def dangling(path: Path) -> Iterator[FollowupError]:
    """Every sentence of a file that points to a number which neither its table nor its folder holds."""
    for fault in _filled(_read(path), path.parent, *stamps_of(path.parent))[1]:
        yield FollowupError(
            "protocol.number",
            fault.what,
            where=where(path, load_toml(path)[1], *fault.place),
            fix="point to a number of this table or folder, such as course.days or fact.quiet_90.at_least",
        )


def _no_numbers(value: Any, place: Place = ()) -> Iterator[tuple[Place, float]]:
    """TOML knows nan and inf; no limit, length or count of ours can be one, and none compares with them."""
    if isinstance(value, float):
        if not isfinite(value):
            yield place, value
    elif isinstance(value, dict | list):
        for key, one in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _no_numbers(one, (*place, key))


def where(path: Path, locate: Locate, *place: str | int) -> str:
    """ "rules.toml line 12": the place as an error names it."""
    return f"{path.name} line {locate(*place)}"


def toml_problem(
    exc: ValidationError, path: Path, locate: Locate, place: Sequence[str | int] = (), *, code: str
) -> FollowupError:
    """The first validation problem of the table at ``place``, by file and line."""
    problem = exc.errors(include_url=False, include_input=False, include_context=False)[0]
    return told_problem(problem, path, locate, place, problem["loc"], code=code)


def told_problem(
    problem: ErrorDetails,
    path: Path,
    locate: Locate,
    place: Sequence[str | int],
    inside: Sequence[str | int],
    *,
    code: str,
) -> FollowupError:
    """A validation problem ``inside`` the table at ``place``, by file and line."""
    key = ".".join(str(part) for part in inside)
    said = problem["msg"].removeprefix("Value error, ")
    what = {
        "extra_forbidden": f'unknown key "{key}"',
        "missing": f'the key "{key}" is missing',
    }.get(problem["type"], f'"{key}": {said}' if key else said)
    fix = "add it" if problem["type"] == "missing" else "correct this line"
    return FollowupError(code, what, where=where(path, locate, *place, *inside), fix=fix)


def _read(path: Path) -> str:
    try:
        raw = path.read_bytes()
    except OSError as exc:
        raise FollowupError(
            "toml.missing", f"cannot be read: {exc.strerror}", where=str(path), fix="give a file that exists"
        ) from None
    if len(raw) > MAX_BYTES:
        raise FollowupError(
            "toml.size", f"larger than {MAX_BYTES} bytes", where=path.name, fix="give a smaller file"
        )
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as exc:
        line = raw.count(b"\n", 0, exc.start) + 1
        raise _syntax_error(path, f"is not UTF-8 text (at line {line}, column 1)") from None


def _syntax_error(path: Path, said: str) -> FollowupError:
    found = re.search(r" \(at line (\d+), column \d+\)| \(at end of document\)", said)
    place = f"{path.name} line {found[1]}" if found and found[1] else path.name
    what = said.replace(found[0], "") if found and found[1] else said
    return FollowupError("toml.syntax", f"not valid TOML: {what}", where=place, fix="correct this line")


class _Scanner:
    """Walks valid TOML and remembers where everything stands."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.breaks = [i for i, letter in enumerate(text) if letter == "\n"]
        self.lines: dict[Place, int] = {}
        self.sizes: dict[Place, int] = {}

    def scan(self) -> dict[Place, int]:
        table: Place = ()
        self._skip(_BLANK)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip(_BLANK)
        return self.lines

    def _header(self) -> Place:
        line = self._line()
        is_array = self.text.startswith("[[", self.at)
        self.at += 2 if is_array else 1
        *outer, last = self._dotted_key()
        self.at += 2 if is_array else 1
        table: Place = ()
        for key in outer:
            table = self._open((*table, key), line)
        table = (*table, last)
        if is_array:
            self.sizes[table] = self.sizes.get(table, 0) + 1
        return self._open(table, line)

    def _open(self, table: Place, line: int) -> Place:
        """Note a table; a key of an array of tables means the last one opened."""
        self.lines.setdefault(table, line)
        if table in self.sizes:
            table = (*table, self.sizes[table] - 1)
            self.lines.setdefault(table, line)
        return table

    def _pair(self, table: Place) -> None:
        line = self._line()
        place = table
        for key in self._dotted_key():
            place = (*place, key)
            self.lines.setdefault(place, line)
        self.at += 1  # the equals sign
        self._skip(_SPACE)
        self._value(place)

    def _value(self, place: Place) -> None:
        opening = self.text[self.at]
        if opening == "[":
            self._array(place)
        elif opening == "{":
            self._inline_table(place)
        elif opening in "\"'":
            self._skip(_STRING)
        else:
            self._skip(_PLAIN_VALUE)

    def _array(self, place: Place) -> None:
        number = 0
        while self._next_item("]"):
            self.lines[(*place, number)] = self._line()
            self._value((*place, number))
            number += 1

    def _inline_table(self, place: Place) -> None:
        while self._next_item("}"):
            self._pair(place)

    def _next_item(self, closing: str) -> bool:
        """Step over the opening bracket or comma; False, past the bracket, where the list ends."""
        self._skip(_BLANK)
        if self.text[self.at] in "[{,":
            self.at += 1
        self._skip(_BLANK)
        ended = self.text[self.at] == closing
        self.at += ended
        return not ended

    def _dotted_key(self) -> list[str]:
        keys = [self._key()]
        while self.text[self.at] == ".":
            self.at += 1
            keys.append(self._key())
        return keys

    def _key(self) -> str:
        self._skip(_SPACE)
        if self.text[self.at] in "\"'":
            raw = self._skip(_STRING)
            key = str(tomllib.loads(f"key = {raw}")["key"])
        else:
            key = self._skip(_BARE_KEY)
        self._skip(_SPACE)
        return key

    def _skip(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        if found is None:  # pragma: no cover - tomllib has accepted this text
            raise AssertionError(f"valid TOML expected at line {self._line()}")
        self.at = found.end()
        return found[0]

    def _line(self) -> int:
        return bisect_left(self.breaks, self.at) + 1


@dataclass(frozen=True)
class Source:
    """One data file: where it lies, what it says, and on which line."""

    path: Path
    data: dict[str, Any]
    locate: Locate

    def refuse(
        self, code: str, what: str, *place: str | int, fix: str = "correct this line"
    ) -> FollowupError:
        return FollowupError(code, what, where=where(self.path, self.locate, *place), fix=fix)


def read_source(path: Path) -> Source:
    """The file at ``path``. Raises what ``load_toml`` raises."""
    return Source(path, *load_toml(path))
