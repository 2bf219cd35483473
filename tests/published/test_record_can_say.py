"""Whatever a surgeon tells has a place in the record (``record_can_say.toml`` is the list)."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from followup.clinical.record import Record

LIST = tomllib.loads(Path(__file__).with_name("record_can_say.toml").read_text("utf-8"))
LINES = [(part, line, places) for part, lines in LIST.items() for line, places in lines.items()]
SCHEMA = Record.model_json_schema()


def resolve(node: dict) -> list[dict]:
    """A schema node without its references, lists and choices."""
    if "$ref" in node:
        return resolve(SCHEMA["$defs"][node["$ref"].rsplit("/", 1)[1]])
    found = [
        part
        for key in ("anyOf", "allOf", "oneOf")
        for option in node.get(key, ())
        for part in resolve(option)
    ]
    if "items" in node:
        found += resolve(node["items"])
    return [*found, node]


def has(path: str) -> bool:
    nodes = resolve(SCHEMA)
    for name in path.split("."):
        nodes = [
            part
            for node in nodes
            if name in node.get("properties", {})
            for part in resolve(node["properties"][name])
        ]
        if not nodes:
            return False
    return True


@pytest.mark.parametrize(("part", "line", "places"), LINES, ids=[f"{p}: {line}" for p, line, _ in LINES])
def test_the_record_has_a_place_for_it(part, line, places):
    assert part
    for place in places if isinstance(places, list) else [places]:
        assert has(place), place


def test_a_place_that_is_not_there_is_found_out():
    assert not has("patient.shoe_size")
    assert not has("operations.eye.colour")
