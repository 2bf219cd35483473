"""Between a form's flat names ("operations.0.cut_mm") and the record's nested JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from followup.care.fields.shape import RECORD, Field, Group

Flat = Mapping[str, Sequence[str]]
LONGEST_LIST = 400


def unflatten(group: Group, form: Flat, prefix: str = "") -> dict[str, Any]:
    """The JSON of ``group`` from a posted form. Empty answers are left out; empty rows vanish."""
    found: dict[str, Any] = {}
    for member in group.members:
        name = f"{prefix}{member.name}"
        if isinstance(member, Field):
            value = _answer(member, form.get(name, ()))
        elif member.many:
            value = [row for i in _rows(form, name) if (row := unflatten(member, form, f"{name}.{i}."))]
        else:
            value = unflatten(member, form, f"{name}.")
        ticked = isinstance(member, Group) and member.optional and "yes" in form.get(name, ())
        if value or ticked:
            found[member.name] = value
    return found


def flatten(group: Group, data: Mapping[str, Any], prefix: str = "") -> dict[str, list[str]]:
    """A form filled from JSON; the inverse of :func:`unflatten`."""
    flat: dict[str, list[str]] = {}
    for member in group.members:
        name, value = f"{prefix}{member.name}", data.get(member.name)
        if value is None:
            continue
        if isinstance(member, Field):
            flat[name] = written(member, value)
        elif member.many:
            for i, row in enumerate(value):
                flat |= flatten(member, row, f"{name}.{i}.")
        else:
            if member.optional:
                flat[name] = ["yes"]
            flat |= flatten(member, value, f"{name}.")
    return flat


def rows(form: Flat, name: str) -> int:
    """How many rows of a repeating group the form holds."""
    return max(_rows(form, name), default=-1) + 1


def _rows(form: Flat, name: str) -> list[int]:
    head = f"{name}."
    parts = {key[len(head) :].partition(".")[0] for key in form if key.startswith(head)}
    return sorted(int(p) for p in parts if p.isdigit() and len(p) < 4 and int(p) < LONGEST_LIST)


def _answer(field: Field, given: Sequence[str]) -> Any:
    words = [text.strip() for text in given if text.strip()]
    if not words:
        return None
    if field.kind == "some of":
        return words
    if field.kind in ("words", "languages"):
        return [part.strip() for text in words for part in text.split(",") if part.strip()]
    return words[0]


def written(field: Field, value: Any) -> list[str]:
    """A value of the record as its field of the form holds it."""
    if field.kind in ("some of", "languages"):
        return [str(v) for v in value]
    if field.kind == "words":
        return [", ".join(str(v) for v in value)]
    if isinstance(value, bool):
        return ["yes" if value else "no"]
    return [f"{value:g}" if isinstance(value, float) else str(value)]


def read_form(form: Flat) -> dict[str, Any]:
    """The record's JSON from a posted form."""
    return unflatten(RECORD, form)


def fill_form(data: Mapping[str, Any]) -> dict[str, list[str]]:
    """The form of a record."""
    return flatten(RECORD, data)
