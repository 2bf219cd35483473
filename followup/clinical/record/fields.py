"""The fields of the record by name, as the data files write them, and what each of them can hold."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, is_dataclass
from functools import cache, lru_cache
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from followup.clinical.record import Findings, InUse, Operation, Patient
from followup.clinical.record.patient import EyeHistory

_ROOTS: Mapping[str, Any] = {
    "patient": Patient,
    "eye": EyeHistory,
    "other_eye": EyeHistory,
    "operation": Operation,
    "reviews": Findings,
    "last_look": Findings,
    "in_use": InUse,
}


@dataclass(frozen=True)
class Held:
    """What a field of the record can hold; ``kinds`` are its types, without "nothing"."""

    kinds: tuple[Any, ...]

    @property
    def is_number(self) -> bool:
        return any(kind in (int, float) for kind in self.kinds)

    @property
    def is_text(self) -> bool:
        return str in self.kinds

    @property
    def is_list(self) -> bool:
        return any(get_origin(kind) is tuple for kind in self.kinds)

    def can_be(self, value: bool | int | float | str) -> bool:
        """Whether the field, or one of its entries, can ever be ``value``."""
        return any(_may_equal(kind, value) for kind in self._each())

    def entry(self, name: str) -> Held | None:
        """The field ``name`` of a list's entries."""
        fields = {field: kind for each in self._each() for field, kind in _fields(each).items()}
        return Held(tuple(_options(fields[name]))) if name in fields else None

    def _each(self) -> Iterator[Any]:
        for kind in self.kinds:
            yield from _options(get_args(kind)[0]) if get_origin(kind) is tuple else (kind,)


@cache
def _fields(kind: Any) -> Mapping[str, Any]:
    """The fields of a part of the record, or of something told in it, with what each may hold."""
    if is_dataclass(kind):
        return get_type_hints(kind)
    return {name: field.annotation for name, field in getattr(kind, "model_fields", {}).items()}


@lru_cache(maxsize=4096)
def leads(path: str) -> bool:
    """Whether ``path`` leads to a field; "in_use" alone means the whole list."""
    if path == "in_use":
        return True
    root, *names = path.split(".")
    return root in _ROOTS and bool(names) and bool(_along(_ROOTS[root], names))


def held(path: str) -> Held:
    """What the field at a ``path`` that leads somewhere can hold."""
    root, *names = path.split(".")
    return Held(tuple(_along(_ROOTS[root], names)))


def _along(model: Any, names: list[str]) -> list[Any]:
    """The types at the end of the way; none where it leads nowhere."""
    fields = _fields(model)
    options = list(_options(fields[names[0]])) if names[0] in fields else []
    if len(names) == 1:
        return options
    return [kind for option in options for kind in _along(option, names[1:])]


def _options(annotation: Any) -> Iterator[Any]:
    """The types that an annotation allows, one by one, bare of constraints."""
    if get_origin(annotation) is Annotated:
        yield from _options(get_args(annotation)[0])
    elif get_origin(annotation) in (Union, UnionType):
        for option in get_args(annotation):
            yield from _options(option)
    elif annotation is not NoneType:
        yield annotation


def _may_equal(kind: Any, value: bool | int | float | str) -> bool:
    if get_origin(kind) is Literal:
        return value in get_args(kind)
    if kind is float:
        return isinstance(value, int | float) and not isinstance(value, bool)
    return type(value) is kind
