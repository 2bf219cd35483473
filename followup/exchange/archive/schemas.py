"""What the files of an archive hold, as JSON Schema (2020-12), for whoever reads them elsewhere."""

from __future__ import annotations

from collections.abc import Mapping

from followup.records.store.open_rows import Kind, OpenTable

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_KINDS: Mapping[Kind, Mapping[str, object]] = {
    "whole number": {"type": "integer"},
    "number": {"type": "number"},
    "text": {"type": "string"},
    "yes or no": {"type": "boolean"},
    "day": {"type": "string", "format": "date"},
    "instant": {"type": "string", "format": "date-time"},
    "any": {},
}


def table_schema(table: OpenTable) -> dict[str, object]:
    """What each line of the table's file holds."""
    return {
        "$schema": DIALECT,
        "title": table.name,
        "description": table.about,
        "type": "object",
        "properties": {
            column.name: _value(column.kind, column.optional, column.points_to) for column in table.columns
        },
        "required": [column.name for column in table.columns],
        "additionalProperties": False,
    }


def _value(kind: Kind, optional: bool, points_to: str) -> dict[str, object]:
    said = dict(_KINDS[kind])
    if optional and "type" in said:
        said["type"] = [said["type"], "null"]
    return {**said, "description": f"{points_to} of the row that is meant"} if points_to else said
