"""Faults in the data files: every number one up and one down, every flag turned, every word exchanged for
another of its column, every entry, row, line and list item taken out."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator

from single_faults.fault import Edit
from single_faults.toml_places import Entry, Value, entries

# What is read by people and not by the program, or where a figure comes from.
PROSE = frozenset(
    {
        *("because", "source", "mark", "potency_mark", "test_source", "test_mark", "text", "question"),
        *("about", "otherwise", "said", "note", "name", "version", "country", "pressure_text"),
        *("senior_call", "numbers", "values", "label", "title", "id", "words", "unknown", "instead"),
    }
)
# Strings that hold figures: "7", "L+28", "20:00", "0.5+", "7x4 4x3".
_FIGURES = re.compile(r"[A-Za-z]{0,2}[+-]?\d+(\.\d+)?\+?([ x:,/-]*[A-Za-z]{0,2}\d+\+?)*")
_INTEGER = re.compile(r"\d+")
MOST_WORDS = 14  # a column with more different words than this is a list of names, not of choices


def edits(text: str) -> Iterator[Edit]:
    found = entries(text)
    words = _words_by_column(found)
    for number, entry in enumerate(found):
        if entry.repeated:
            yield Edit("entry out", entry.start, _end_with_parts(found, number), "", entry.label)
        for pair in entry.pairs:
            if pair.key in PROSE:
                continue
            line_end = text.find("\n", pair.value.end)
            yield Edit("line out", pair.start, line_end if line_end >= 0 else len(text), "", entry.label)
            yield from _in_value(text, pair.value, pair.key, f"{entry.label} {pair.key}", words)


def _end_with_parts(found: list[Entry], number: int) -> int:
    """The end of an entry with the tables that belong to it."""
    path, end = found[number].path, found[number].end
    for later in found[number + 1 :]:
        if not later.path.startswith(f"{path}."):
            break
        end = later.end
    return end


def _in_value(text: str, value: Value, key: str, within: str, words: dict[str, list[str]]) -> Iterator[Edit]:
    if value.items is not None:
        parts = [(item.start, item.end) for item in value.items]
        for number, item in enumerate(value.items):
            if len(parts) > 1:  # the only one goes with its line
                yield _taken_out("item out", parts, number, within)
            yield from _in_value(text, item, key, f"{within} {number}", words)
    elif value.pairs is not None:
        parts = [(pair.start, pair.value.end) for pair in value.pairs]
        for number, pair in enumerate(value.pairs):
            if pair.key in PROSE:
                continue
            yield _taken_out("item out", parts, number, within)
            yield from _in_value(text, pair.value, pair.key, f"{within} {pair.key}", words)
    else:
        yield from _in_scalar(text[value.start : value.end], value, key, within, words)


def _in_scalar(
    written: str, value: Value, key: str, within: str, words: dict[str, list[str]]
) -> Iterator[Edit]:
    given = value.value
    if isinstance(given, bool):
        yield Edit("flag", value.start, value.end, "false" if given else "true", within)
    elif isinstance(given, int | float):
        for by in (1, -1):
            yield Edit("figure", value.start, value.end, _moved(written, by), within)
    elif isinstance(given, str):
        if _FIGURES.fullmatch(given):
            for match in _INTEGER.finditer(written):
                for by in (1, -1):
                    start = value.start + match.start()
                    yield Edit("figure", start, start + len(match.group()), _moved(match.group(), by), within)
        column = words.get(key, [])
        if given in column and len(column) > 1:
            other = column[(column.index(given) + 1) % len(column)]
            yield Edit("word", value.start, value.end, f'"{other}"', within)


def _moved(written: str, by: int) -> str:
    """One up or down in the last place; what starts with a nought keeps its length."""
    whole, point, rest = written.replace("_", "").partition(".")
    if point:
        places = len(rest)
        return f"{(int(whole + rest) + by) / 10**places:.{places}f}"
    moved = int(whole) + by
    return (
        f"{moved:0{len(whole)}d}" if whole.startswith("0") and len(whole) > 1 and moved >= 0 else str(moved)
    )


def _taken_out(kind: str, parts: list[tuple[int, int]], number: int, within: str) -> Edit:
    """One element of a list with the comma that goes with it."""
    if number + 1 < len(parts):
        return Edit(kind, parts[number][0], parts[number + 1][0], "", within)
    start = parts[number - 1][1] if number else parts[number][0]
    return Edit(kind, start, parts[number][1], "", within)


def _words_by_column(found: list[Entry]) -> dict[str, list[str]]:
    """The words that stand under each key of the file, where they are few: they are choices."""
    seen: dict[str, set[str]] = defaultdict(set)

    def note(value: Value, key: str) -> None:
        for item in value.items or ():
            note(item, key)
        for pair in value.pairs or ():
            note(pair.value, pair.key)
        if isinstance(value.value, str):
            seen[key].add(value.value)

    for entry in found:
        for pair in entry.pairs:
            note(pair.value, pair.key)
    return {
        key: sorted(words) for key, words in seen.items() if key not in PROSE and len(words) <= MOST_WORDS
    }
