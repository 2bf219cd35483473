"""The shape of the record's form, read off the record's own types.

Nothing here lists fields: a field added to the record appears in the form by itself, so no part
of a record is ever out of a counsellor's reach.
"""

from __future__ import annotations

import types
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, StringConstraints
from pydantic.fields import FieldInfo

from followup.clinical.record import Record

FieldKind = Literal[
    "line",
    "text",
    "number",
    "date",
    "clock",
    "medicine",
    "language",
    "languages",
    "yes-no",
    "one of",
    "some of",
    "words",
]


@dataclass(frozen=True)
class Field:
    """One thing to fill in. ``of`` is "Model.field", the key of its label."""

    name: str
    of: str
    kind: FieldKind
    choices: tuple[str, ...] = ()
    required: bool = False


@dataclass(frozen=True)
class Group:
    """Fields that belong together. ``many``: may repeat. ``optional``: a tick alone says it is there."""

    name: str
    of: str
    members: tuple[Field | Group, ...]
    many: bool = False
    optional: bool = False

    def member(self, name: str) -> Field | Group:
        """The member called ``name``. Raises KeyError where there is none."""
        for member in self.members:
            if member.name == name:
                return member
        raise KeyError(name)


Member = Field | Group


def shape_of(model: type[BaseModel], name: str = "", of: str = "") -> Group:
    """The form of ``model`` with everything inside it."""
    members = tuple(_member(model, key, info) for key, info in model.model_fields.items())
    return Group(name, of or model.__name__, members)


def leaves(group: Group) -> Iterator[Field]:
    """Every field, at any depth."""
    for member in group.members:
        if isinstance(member, Field):
            yield member
        else:
            yield from leaves(member)


def _member(model: type[BaseModel], key: str, info: FieldInfo) -> Field | Group:
    of = f"{model.__name__}.{key}"
    inner, optional = _without_none(info.annotation)
    if _is_model(inner):
        group = shape_of(inner, key, of)
        # Where a field inside must be given, filling it in says that the group is there.
        told = any(isinstance(m, Field) and m.required for m in group.members)
        return Group(key, of, group.members, optional=optional and not told)
    if get_origin(inner) is tuple:
        item = _bare(get_args(inner)[0])
        if _is_model(item):
            return Group(key, of, shape_of(item).members, many=True)
        if get_origin(item) is Literal:
            return Field(key, of, "some of", get_args(item))
        tags = _string_kind(get_args(inner)[0], info) == "language"
        return Field(key, of, "languages" if tags else "words")
    kind, choices = _kind(inner, info)
    return Field(key, of, kind, choices, required=info.is_required())


def _kind(annotation: Any, info: FieldInfo) -> tuple[FieldKind, tuple[str, ...]]:
    bare = _bare(annotation)
    if bare is bool:
        return "yes-no", ()
    if bare is date:
        return "date", ()
    if bare in (int, float):
        return "number", ()
    if get_origin(bare) is Literal:
        return "one of", get_args(bare)
    return _string_kind(annotation, info), ()


def _string_kind(annotation: Any, info: FieldInfo) -> FieldKind:
    marks = [*getattr(annotation, "__metadata__", ()), *info.metadata]
    for mark in marks:
        if isinstance(mark, StringConstraints):
            if mark.pattern and str(mark.pattern).startswith("^([01]"):
                return "clock"
            if mark.pattern and str(mark.pattern).startswith("^[a-z][a-z0-9-]"):
                return "medicine"
            if mark.pattern and str(mark.pattern).startswith("^[a-z]{2,3}"):
                return "language"
            if mark.max_length and mark.max_length > 1000:
                return "text"
    return "line"


def _bare(annotation: Any) -> Any:
    return get_args(annotation)[0] if get_origin(annotation) is Annotated else annotation


def _without_none(annotation: Any) -> tuple[Any, bool]:
    if get_origin(annotation) in (Union, types.UnionType):
        kept = [a for a in get_args(annotation) if a is not type(None)]
        optional = len(kept) < len(get_args(annotation))
        # A number that may also be a word ("not done") is typed as a line.
        return (kept[0] if len(kept) == 1 else str), optional
    return annotation, False


def _is_model(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


RECORD = shape_of(Record)


def member_at(name: str) -> Member | None:
    """The field or group of this full name ("operations.0.cut_mm"); None where the record has none."""
    found: Member = RECORD
    for part in name.split("."):
        if part.isdecimal():
            continue
        if not isinstance(found, Group):
            return None
        try:
            found = found.member(part)
        except KeyError:
            return None
    return found
