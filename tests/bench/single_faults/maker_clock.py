"""Faults of the clinic's day: UTC wherever an instant is turned into the clinic's own time."""

from __future__ import annotations

import ast
from collections.abc import Iterator

from single_faults.fault import Edit
from single_faults.python_places import source_of

UTC = '__import__("datetime").UTC'


def edits(text: str) -> Iterator[Edit]:
    if "zone" not in text.lower() and "tz" not in text:
        return
    source = source_of(text)
    for node, within in source.nodes:
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        asked: list[ast.expr] = []
        if name == "astimezone":
            asked = node.args[:1]
        elif name == "combine":
            asked = node.args[2:3]
        elif name == "ZoneInfo":
            yield Edit("clinic's day", source.start(node), source.end(node), UTC, within)
        asked += [keyword.value for keyword in node.keywords if keyword.arg in ("tzinfo", "tz")]
        for zone in asked:
            if source.written(zone) != "UTC":
                yield Edit("clinic's day", source.start(zone), source.end(zone), UTC, within)
