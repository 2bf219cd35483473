"""Every key of the files that names something is found by its annotation, and checked where it stands."""

from __future__ import annotations

import copy
from dataclasses import replace
from typing import Any

import pytest

from followup.clinical.protocol.checks import problems
from followup.clinical.protocol.load import SAMPLE, read_protocol
from followup.clinical.protocol.reader import ReadFile
from followup.clinical.protocol.references import names_of, references

PROTOCOL, FILES = read_protocol(SAMPLE)


def _first_of_each_key():
    """One reference for every key that refers: its file, its place, its name."""
    seen = {}
    for read in FILES:
        for place, to, name in references(read.model):
            key = ".".join(
                str(step) for step in place if isinstance(step, str) and step not in PROTOCOL.kinds
            )
            seen.setdefault((read.file.name, key, to.kind), (read, place, name))
    return seen


FOUND = _first_of_each_key()


def test_every_kind_of_name_is_referred_to_and_named_somewhere():
    kinds = {kind for _, _, kind in FOUND}
    named = {kind for kind in names_of(read.model for read in FILES) if kind}
    assert kinds == named | {"field", "finding"}
    assert {"medicine", "taper", "fact", "need", "kind of look", "sentence"} <= named


@pytest.mark.parametrize("key", FOUND, ids=lambda key: f"{key[0]} {key[1]}")
def test_a_name_of_nothing_is_refused_at_its_line(key):
    read, place, name = FOUND[key]
    data = copy.deepcopy(read.source.data)
    _put(data, place, f"{name}x")
    wrong = ReadFile(read.file, read.source, read.file.model.model_validate(data))
    named = next(field for field, value in vars(FILES).items() if value is read or _holds(value, read))
    rules = tuple(wrong if one is read else one for one in FILES.rules)
    files = replace(FILES, **{named: rules if named == "rules" else wrong})
    at = f"{read.source.path.name} line {read.source.locate(*place)}"
    assert [p for p in problems(PROTOCOL, files) if p.where == at and f'"{name}x"' in p.what]


def _holds(value: Any, read: ReadFile[Any]) -> bool:
    return isinstance(value, tuple) and any(one is read for one in value)


def _put(data: Any, place: tuple[Any, ...], name: str) -> None:
    """Set what stands at ``place``; one table alone may stand where the model holds a list of them."""
    *way, last = [
        step for i, step in enumerate(place) if not (isinstance(step, int) and _alone(data, place[:i]))
    ]
    for step in way:
        data = data[step]
    data[last] = name


def _alone(data: Any, place: tuple[Any, ...]) -> bool:
    for step in place:
        if isinstance(data, dict) and isinstance(step, int):
            continue
        data = data[step]
    return isinstance(data, dict)
