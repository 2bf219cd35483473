"""Numbers in the sentences of data files: each stands once, as data, and sentences point to it.

A sentence names a number of its own table by its key, ``"under {under} on the day of surgery"``, or one
that its table points to:

    because = "An NSAID drop by its label for {time}."
    numbers = { time = "course.days days" }

A path goes from the sentence's own table, else from any file of the folder: tables and keys by name,
entries of a list by number, id or name (``fact.quiet_90.at_least``, ``taper.E.steps.0.1``). A word after
the path says how the number is told: ``days`` (14 days, 1 day), ``times`` (4), ``steps`` (4 a day for 7
days, 2 a day for 7 days).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from followup.clinical.english import counted, steps_words
from followup.said import fill, say

SENTENCES = frozenset(
    {"because", "text", "question", "about", "otherwise", "unknown", "source", "without_steroid"}
)
_NAME = re.compile(r"\{([a-z_]+)\}")
Place = tuple[str | int, ...]
Stamp = tuple[str, int, int]


@dataclass(frozen=True)
class Dangling:
    """A sentence points to a number that is not there; ``place`` is its table."""

    place: Place
    what: str


def fill_numbers(data: dict[str, Any], folder: Path) -> list[Dangling]:
    """Put the numbers into every sentence of a file, in place; what points nowhere stays in braces."""
    found: list[Dangling] = []
    for table, place in _tables(data, ()):
        pointed = table.pop("numbers", {})
        if not isinstance(pointed, Mapping):
            found.append(Dangling(place, '"numbers" is no table of names and paths'))
            continue
        told: dict[str, str] = {}
        for name, pointer in pointed.items():
            try:
                told[name] = _told(str(pointer), table, folder)
            except ValueError as exc:
                found.append(Dangling(place, str(exc)))
        used: set[str] = set()
        for holder, key in _sentences(table):
            used |= set(_NAME.findall(holder[key]))
            holder[key] = _filled(holder[key], holder, table, told)
        idle = [name for name in pointed if name not in used]
        found += [Dangling(place, f"no sentence here holds {{{name}}}") for name in idle]
    return found


def _tables(value: Any, place: Place) -> Iterator[tuple[dict[str, Any], Place]]:
    """Every table, the inner ones first, so that their sentences are theirs."""
    if isinstance(value, dict):
        for key, inner in list(value.items()):
            if key != "numbers" and not _within(value, inner):
                yield from _tables(inner, (*place, key))
        yield value, place
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            yield from _tables(inner, (*place, i))


def _within(table: dict[str, Any], inner: Any) -> bool:
    """Whether an inner table has no numbers of its own, and its sentences read those around it."""
    return "numbers" in table and isinstance(inner, dict) and "numbers" not in inner


def _sentences(table: dict[str, Any]) -> Iterator[tuple[dict[str, Any], str]]:
    for key, value in table.items():
        if key in SENTENCES and isinstance(value, str):
            yield table, key
        elif isinstance(value, dict):
            yield from ((value, k) for k, v in value.items() if k in SENTENCES and isinstance(v, str))


def _filled(text: str, holder: Mapping[str, Any], table: Mapping[str, Any], told: Mapping[str, str]) -> str:
    values = {}
    for name in _NAME.findall(text):
        own = holder.get(name, table.get(name))
        if name in told:
            values[name] = told[name]
        elif _is_number(own):
            values[name] = _figure(own)
    return fill(text, **values) if values else text


def _told(pointer: str, table: Mapping[str, Any], folder: Path) -> str:
    """What a pointer leads to, in words. Raises ValueError where it leads to no number."""
    path, _, way = pointer.partition(" ")
    value = _at(table, path.split("."))
    if value is None:
        value = _at(_whole(folder, *stamps_of(folder)), path.split("."))
    if way == "steps" and isinstance(value, list):
        pairs = value if value and isinstance(value[0], list) else [value]
        return steps_words((count, days) for count, days in pairs)
    if not _is_number(value) and not isinstance(value, str):
        raise ValueError(say('"{path}" is no number of this protocol', path=path))
    tell = _WAYS.get(way)
    if tell is None:
        raise ValueError(
            say('"{way}" is no way to tell a number; write steps, days, times or nothing', way=way)
        )
    return tell(_figure(value))


_WAYS: dict[str, Callable[[str], str]] = {
    "": lambda number: number,
    "times": lambda number: number,
    "days": lambda number: counted(int(number), "day", "days"),
}


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _figure(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _at(value: Any, path: list[str]) -> Any:
    for step in path:
        if isinstance(value, Mapping):
            value = value.get(step)
        elif isinstance(value, list):
            value = _entry(value, step)
        else:
            return None
    return value


def _entry(entries: list[Any], step: str) -> Any:
    if step.isdecimal():
        return entries[int(step)] if int(step) < len(entries) else None
    named = [e for e in entries if isinstance(e, Mapping) and step in (e.get("id"), e.get("name"))]
    return named[0] if named else None


def stamps_of(folder: Path) -> tuple[Stamp, ...]:
    """What tells a folder's data files from the same files after a change."""
    found = sorted(folder.glob("*.toml"))
    return tuple((path.name, path.stat().st_mtime_ns, path.stat().st_size) for path in found)


@lru_cache(maxsize=64)
def values_of(text: str) -> dict[str, Any]:
    """What a file's text says, parsed once. Not to be changed. Raises ``tomllib.TOMLDecodeError``."""
    return tomllib.loads(text)


@lru_cache(maxsize=8)
def _whole(folder: Path, *stamps: Stamp) -> dict[str, Any]:
    """All files of a folder in one: lists of one name put together. A file with a fault has no numbers;
    it is refused where it is read."""
    merged: dict[str, Any] = {}
    for name, _, _ in stamps:
        try:
            data = values_of((folder / name).read_text("utf-8-sig"))
        except (OSError, ValueError):
            continue
        for key, value in data.items():
            if isinstance(value, list) and isinstance(merged.get(key), list):
                merged[key] = [*merged[key], *value]
            else:
                merged.setdefault(key, value)
    return merged
