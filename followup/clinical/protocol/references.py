"""Names in the files of a protocol: what a key names, what it refers to, and where both stand.

A model says it by annotation, ``taper: TaperRef`` and ``Annotated[tuple[Taper, ...], Names("id", "taper")]``;
one walk finds every such place of every file.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Annotated, Any, TypeAlias, TypeVar, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from followup.clinical.protocol.lines import Place
from followup.clinical.record.base import MedicineId
from followup.clinical.record.eye import known_path


@dataclass(frozen=True)
class Names:
    """Entries that ``by`` names; without it the keys of a table are the names. ``kind`` is what others
    refer to; ``once``: two of one name would leave open which of them is meant."""

    by: str = ""
    kind: str = ""
    once: bool = True

    def of(self, entries: Any) -> list[str]:
        return [getattr(entry, self.by) for entry in entries] if self.by else list(entries)


@dataclass(frozen=True)
class RefersTo:
    """A text, or each text of a list or table, that names something of this ``kind``.

    ``path``: a field of the record instead, by its path from there on. ``code``, ``fix``: how it is
    refused, where not as its file is.
    """

    kind: str
    place: str = ""
    path: str | None = None
    code: str = ""
    fix: str = "correct this line"

    def finds(self, name: str, named: Mapping[str, set[str]]) -> bool:
        if self.path is not None:
            return known_path(f"{self.path}{name}")
        return name.removeprefix("not ") in named[self.kind]


MedicineRef: TypeAlias = Annotated[
    MedicineId,
    RefersTo(
        "medicine",
        " in the formulary",
        code="protocol.medicine",
        fix="add it to formulary.toml or correct the name",
    ),
]
TaperRef: TypeAlias = Annotated[str, RefersTo("taper")]
FactRef: TypeAlias = Annotated[str, RefersTo("fact")]
"""A fact, or its opposite by "not " before it."""
NeedRef: TypeAlias = Annotated[str, RefersTo("need", code="protocol.need")]
LookRef: TypeAlias = Annotated[str, RefersTo("kind of look", fix="add [kind] to protocol.toml")]
AskedLookRef: TypeAlias = Annotated[
    str, RefersTo("look that a rule asks for", code="protocol.sheet", fix="name a kind of look of the rules")
]
SentenceRef: TypeAlias = Annotated[
    str, RefersTo("sentence", " for the sheet", code="protocol.sheet", fix="name one of aftercare.toml")
]
FieldRef: TypeAlias = Annotated[
    str, RefersTo("field", " in the record", path="", fix="name a field of the record")
]
_FINDING = RefersTo("finding", " in a review", path="reviews.")
FindingRef: TypeAlias = Annotated[str, _FINDING]
KindFindingRef: TypeAlias = Annotated[str, replace(_FINDING, code="protocol.kind")]
OfOperationRef: TypeAlias = Annotated[
    str, RefersTo("field", " of an operation", path="operation.", fix="name a field of the operation")
]


_Mark = TypeVar("_Mark", Names, RefersTo)
# What most values are, and what has nothing in it; what holds others.
_PLAIN = (str, int, float)
_HOLDS = (tuple, dict, Mapping)


def marked(part: BaseModel, mark: type[_Mark], place: Place = ()) -> Iterator[tuple[Place, _Mark, Any]]:
    """Every value of the part and of the parts in it that carries such a mark: place, mark, value."""
    for name, key, marks, leads_on in _ways(type(part)):
        value = getattr(part, name)
        for one in marks:
            if isinstance(one, mark) and value is not None:
                yield (*place, key), one, value
        if leads_on:
            for inner, deeper in _inside(value, (*place, key)):
                if isinstance(inner, BaseModel):
                    yield from marked(inner, mark, deeper)


def references(part: BaseModel) -> Iterator[tuple[Place, RefersTo, str]]:
    """Every name that refers to something: its place, what it refers to, the name."""
    for place, to, value in marked(part, RefersTo):
        yield from ((deeper, to, name) for name, deeper in _inside(value, place))


def names_of(parts: Iterable[BaseModel]) -> dict[str, set[str]]:
    """What may be referred to: every name by its kind."""
    named: dict[str, set[str]] = {}
    for part in parts:
        for _, one, entries in marked(part, Names):
            named.setdefault(one.kind, set()).update(one.of(entries))
    return named


def _inside(value: Any, place: Place) -> Iterator[tuple[Any, Place]]:
    """The value, or each one of a list or table, with its place."""
    if isinstance(value, _PLAIN):
        yield value, place
    elif isinstance(value, _HOLDS):
        each = value.items() if isinstance(value, Mapping) else enumerate(value)
        for key, one in each:
            yield from _inside(one, (*place, key))
    elif value is not None:
        yield value, place


@cache
def _ways(model: type[BaseModel]) -> tuple[tuple[str, str, tuple[Names | RefersTo, ...], bool], ...]:
    """Each field that is marked, or leads to a part in which something is: its name, its key in the file, its
    marks, whether it leads on. Most fields are neither."""
    ways = (
        (name, one.alias or name, _marks_of(one), any(_bears_marks(part) for part in _parts(one.annotation)))
        for name, one in model.model_fields.items()
    )
    return tuple(way for way in ways if way[2] or way[3])


def _bears_marks(model: type[BaseModel]) -> bool:
    """Whether anything in the part, or in a part in it, is marked."""
    parts = [model]
    for part in parts:
        for field in part.model_fields.values():
            if _marks_of(field):
                return True
            parts += [inner for inner in _parts(field.annotation) if inner not in parts]
    return False


def _marks_of(field: FieldInfo) -> tuple[Names | RefersTo, ...]:
    found = (*field.metadata, *_marks(field.annotation))
    return tuple(one for one in found if isinstance(one, Names | RefersTo))


def _parts(annotation: Any) -> Iterator[type[BaseModel]]:
    """The parts that a field may hold."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _parts(inner)


def _marks(annotation: Any) -> Iterator[Any]:
    yield from getattr(annotation, "__metadata__", ())
    for inner in get_args(annotation):
        yield from _marks(inner)
