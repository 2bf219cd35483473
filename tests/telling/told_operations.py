"""The told operations, what is expected of them (``told/FORMAT``), and how a reading is judged."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from followup.telling.model import FieldTold, Telling, ToldValue

TOLD = Path(__file__).parent / "told"
Verdict = Literal["right", "asked", "missed", "wrong", "extra", "turned", "fine"]
"""turned: a yes for a no, another amount or side. extra: read, and told nowhere. fine: of what need not be
read, a right reading or none."""

# What one field says of another: told in one of these ways, the other says the same.
IMPLIED: Mapping[tuple[str, ToldValue], tuple[str, ToldValue]] = {
    ("operation.capsule_torn", False): ("operation.capsule_whole", True),
    ("operation.capsule_whole", True): ("operation.capsule_torn", False),
}
PRESENT = "eye.uveitis"
"""That there was uveitis at all: a group of the record, for which FORMAT has no field. Not judged."""
SUBSTANCES = (
    {
        "hpmc",
        "hydroxypropyl methylcellulose",
        "methylcellulose",
        "hypromellose",
        "hydroxypropylmethylcellulose",
    },
    {"sodium hyaluronate", "hyaluronate", "hyaluronic acid", "hyaluronan"},
    {"chondroitin sulphate", "chondroitin sulfate", "chondroitin"},
)


@dataclass(frozen=True)
class ToldOperation:
    """``expected``: what is told, by field; ``doubtful``: what is told in a way that must be asked.

    ``allowed`` and ``history``: what may be read, with this value only; ``garbled``: what may be missed.
    """

    id: str
    kind: str
    eye: Literal["right", "left"]
    text: str
    language: str = "en"
    refused: str = ""
    expected: Mapping[str, ToldValue] = field(default_factory=dict)
    allowed: Mapping[str, ToldValue] = field(default_factory=dict)
    history: Mapping[str, ToldValue] = field(default_factory=dict)
    doubtful: tuple[str, ...] = ()
    garbled: tuple[str, ...] = ()


@dataclass(frozen=True)
class Judged:
    """One field of one telling: what was expected, what came out."""

    told: ToldOperation
    field: str
    verdict: Verdict
    expected: object
    found: object


def told_operations(folder: str) -> tuple[ToldOperation, ...]:
    """All told operations of ``told/<folder>``."""
    return tuple(one for file in sorted((TOLD / folder).glob("*.toml")) for one in _of_file(file))


def _of_file(file: Path) -> Iterator[ToldOperation]:
    data = tomllib.loads(file.read_text(encoding="utf-8"))
    for one in data["telling"]:
        yield ToldOperation(
            one["id"],
            data.get("kind", file.stem),
            one["eye"],
            one["text"].strip("\n"),
            data.get("language", "en"),
            one.get("refused", ""),
            _fields(one.get("expected", {})),
            _fields(one.get("allowed", {})),
            _fields(one.get("history", {})),
            tuple(map(_path, one.get("doubtful", {}))),
            tuple(map(_path, one.get("garbled", ()))),
        )


def _fields(told: Mapping[str, Any]) -> dict[str, ToldValue]:
    found: dict[str, ToldValue] = {}
    for name, value in told.items():
        if name == "steroid":
            each = ((number, entry) for number, entry in enumerate(value))
            found |= {
                f"operation.steroid.{n}.{key}": part for n, entry in each for key, part in entry.items()
            }
        elif isinstance(value, dict):
            found |= {f"{_path(name)}.{key}": part for key, part in value.items()}
        else:
            found[_path(name)] = tuple(value) if isinstance(value, list) else value
    return found


def _path(name: str) -> str:
    roots = ("operation.", "eye.", "other_eye.", "patient.", "in_use.")
    return name if name.startswith(roots) else f"operation.{name}"


def judged(told: ToldOperation, telling: Telling) -> Iterator[Judged]:
    """Every field that was expected or found."""
    found = {one.field: one for one in telling.fields}
    if telling.refused is not None and told.refused:
        return
    for name in told.doubtful:
        yield Judged(told, name, _of_a_doubt(found.get(name)), "to ask", _shown(found.get(name)))
    for name, value in told.expected.items():
        verdict = _verdict(found.get(name), value)
        if verdict == "missed" and name in told.garbled:
            verdict = "fine"
        yield Judged(told, name, verdict, value, _shown(found.get(name)))
    for one in telling.fields:
        if one.field not in told.expected and one.field not in told.doubtful and one.kind == "read":
            yield _beside(told, one)


def _of_a_doubt(one: FieldTold | None) -> Verdict:
    if one is None:
        return "missed"
    return "asked" if one.kind == "doubtful" else "wrong"


def _beside(told: ToldOperation, one: FieldTold) -> Judged:
    """A reading of something that need not be read."""
    may = told.allowed | told.history
    if one.field in may:
        verdict = _verdict(one, may[one.field])
        return Judged(told, one.field, "fine" if verdict == "right" else verdict, may[one.field], _shown(one))
    fine = one.field == PRESENT or _implied(told, one)
    return Judged(told, one.field, "fine" if fine else "extra", None, _shown(one))


def _verdict(one: FieldTold | None, value: ToldValue) -> Verdict:
    if one is None:
        return "missed"
    if one.kind == "doubtful":
        return "asked"
    if same(one.value, value):
        return "right"
    return "turned" if isinstance(value, bool | int | float) else "wrong"


def same(found: object, value: object) -> bool:
    """Whether two values are one: numbers by size, lists without order, words without case."""
    if isinstance(found, tuple) and isinstance(value, tuple):
        return set(found) == set(value)
    if isinstance(found, bool) or isinstance(value, bool):
        return found is value
    if isinstance(found, str) and isinstance(value, str):
        some, other = found.casefold(), value.casefold()
        return some == other or any(some in names and other in names for names in SUBSTANCES)
    return found == value


def _implied(told: ToldOperation, one: FieldTold) -> bool:
    if one.value is None or isinstance(one.value, tuple):
        return False
    other = IMPLIED.get((one.field, one.value))
    return other is not None and told.expected.get(other[0]) == other[1]


def _shown(one: FieldTold | None) -> object:
    if one is None:
        return None
    return one.value if one.kind == "read" else ("asked", *(choice.value for choice in one.choices))
