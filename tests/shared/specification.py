"""The protocol's figures as literal rows, written from the clinical text and not from the data files.

Every ``tests/specification/*.toml`` has a ``title`` and rows::

    [[row]]
    situation = "65th birthday on the day of surgery, eye of 29.0 mm"
    expected = "middle pressure risk, not high"
    source = "Chang 2011"            # as in the data; "common practice, no source"; "from memory"
    mark = "P"                       # P published, S secondary copy, M from memory, C our judgement
    [[row.case]]                     # what a record tells, and what the program then does (see conftest.py)
    eye = { axial_length_mm = 29.0 }
    expect = { tier = "B" }
    [row.claims]                     # the lines of data that this row holds, by literal value
    "fact.long_eye.at_least" = 29.0
    "rule.tier-a-long-eye" = { when = ["long_eye", "under_65"], tier = "A" }

An address is the entry's kind and id, then its keys: ``rule.ID`` and ``fact.NAME`` for the files of one
list, else the file's stem first (``protocol.tier.A.gaps.1.limit``, ``aftercare.advice.swim.small``). Tables
of a list go by their id, name, role, way or medicine where that is there, else by their place from 1; a
second of the same word gets "#2". A claim may name one value or a whole table of them. A list of plain
values is one value, in order. A table that holds sentences alone is claimed as ``"told"``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import followup

FOLDER = Path(__file__).resolve().parents[1] / "specification"
DATA = Path(followup.__file__).parent / "clinical" / "data"
MARKS = ("P", "S", "M", "C")

# What is read by people and decides nothing.
SENTENCES = {
    *("because", "source", "mark", "text", "about", "otherwise", "said", "values", "numbers"),
    *("without_steroid", "nsaid_text", "steroid_text", "bare_text", "call", "senior_call", "no_raise"),
    *("question", "instead", "note", "pressure_text", "asks"),
}
_NAMES = ("id", "name", "role", "way", "medicine", "finding", "reaction", "field")


@dataclass(frozen=True)
class Row:
    file: str
    number: int
    situation: str
    expected: str
    source: str
    mark: str
    cases: tuple[dict[str, Any], ...]
    claims: Mapping[str, Any]

    def __str__(self) -> str:
        return f"{self.file} {self.number}: {self.situation}"


@dataclass(frozen=True)
class Chapter:
    file: str
    title: str
    rows: tuple[Row, ...]


@cache
def chapters() -> tuple[Chapter, ...]:
    """Every table of the specification, in the order of its number, then of its name."""
    read = [(path.stem, tomllib.loads(path.read_text("utf-8"))) for path in sorted(FOLDER.glob("*.toml"))]
    read.sort(key=lambda pair: (pair[1]["order"], pair[0]))
    return tuple(Chapter(stem, data["title"], tuple(_rows(stem, data["row"]))) for stem, data in read)


def _rows(file: str, raw: list[dict[str, Any]]) -> Iterator[Row]:
    for number, row in enumerate(raw, 1):
        extra = set(row) - {"situation", "expected", "source", "mark", "case", "claims"}
        assert not extra, f"{file} {number}: no such key {sorted(extra)}"
        claims: dict[str, Any] = {}
        for address, value in row.get("claims", {}).items():
            for leaf, held in leaves(value, address):
                assert leaf not in claims, f"{file} {number} claims {leaf} twice"
                claims[leaf] = held
        yield Row(
            file,
            number,
            row["situation"],
            row["expected"],
            row["source"],
            row["mark"],
            tuple(row.get("case", ())),
            claims,
        )


def files(*stems: str) -> dict[str, dict[str, Any]]:
    """The data files of these stems, by stem."""
    return {stem: tomllib.loads((DATA / f"{stem}.toml").read_text("utf-8")) for stem in stems}


def data_leaves(stem: str, data: Mapping[str, Any]) -> dict[str, Any]:
    """Every value of a data file that decides something, by address."""
    return {leaf: value for entry, table in _entries(stem, data) for leaf, value in leaves(table, entry)}


def origins(stem: str, data: Mapping[str, Any]) -> dict[str, tuple[str, str]]:
    """Mark and source of every table that has them, by address."""
    return {
        address: origin for entry, table in _entries(stem, data) for address, origin in _origins(table, entry)
    }


def origin_of(leaf: str, known: Mapping[str, tuple[str, str]]) -> tuple[str, str] | None:
    """Mark and source that hold for a value: those of the nearest table around it."""
    parts = leaf.split(".")
    for length in range(len(parts), 0, -1):
        if found := known.get(".".join(parts[:length])):
            return found
    return None


def _entries(stem: str, data: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for key, value in data.items():
        alone = (len(data) == 1 or stem == "formulary") and isinstance(value, list)
        prefix = key if alone else f"{stem}.{key}"
        yield prefix, value


def _origins(value: Any, address: str) -> Iterator[tuple[str, tuple[str, str]]]:
    if isinstance(value, Mapping):
        if "mark" in value:
            yield address, (value["mark"], value.get("source", ""))
        for key, part in value.items():
            yield from _origins(part, f"{address}.{key}")
    elif _is_tables(value):
        for key, part in _keyed(value):
            yield from _origins(part, f"{address}.{key}")


def leaves(value: Any, address: str) -> Iterator[tuple[str, Any]]:
    """The deciding values in ``value``, each under its address."""
    if isinstance(value, Mapping):
        found = [
            leaf
            for key, part in value.items()
            if not is_sentence(key, part)
            for leaf in leaves(part, f"{address}.{key}")
        ]
        yield from found or [(address, "told")]
    elif _is_tables(value):
        for key, part in _keyed(value):
            yield from leaves(part, f"{address}.{key}")
    else:
        yield address, value


def is_sentence(key: str, value: Any) -> bool:
    # In facts "unknown" is what is said where nothing is written down; in rules a list of facts.
    # A list of values decides; a table of them is put into a sentence.
    plain = key == "values" and isinstance(value, list)
    return (key in SENTENCES and not plain) or (key == "unknown" and isinstance(value, str))


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(part, Mapping) for part in value)


def _keyed(tables: list[dict[str, Any]]) -> Iterator[tuple[str, dict[str, Any]]]:
    seen: dict[str, int] = {}
    for place, table in enumerate(tables, 1):
        name = next((name for name in _NAMES if isinstance(table.get(name), str)), None)
        key = str(table[name]) if name else str(place)
        seen[key] = seen.get(key, 0) + 1
        # What has an id is called by its name among people.
        drop = (name, "name") if name == "id" else (name,)
        rest = {other: part for other, part in table.items() if other not in drop}
        yield (key if seen[key] == 1 else f"{key}#{seen[key]}"), rest


def same(one: Any, two: Any) -> bool:
    """Equal, and not only as Python sees it: true is no 1."""
    if isinstance(one, list) and isinstance(two, list):
        return len(one) == len(two) and all(map(same, one, two))
    return isinstance(one, bool) is isinstance(two, bool) and one == two


def cases_of(*names: str) -> list[Any]:
    """The cases of these tables for ``parametrize``, each named by its row's mark and situation."""
    import pytest

    found = [
        pytest.param(case, id=f"{row.mark}: {row.situation}" + (f" ({n})" if len(row.cases) > 1 else ""))
        for chapter in chapters()
        if chapter.file in names
        for row in chapter.rows
        for n, case in enumerate(row.cases, 1)
    ]
    assert found, f"no case in {names}"
    return found
