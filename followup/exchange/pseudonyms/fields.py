"""Which fields of the record go out: those that hold a word of a list, a yes or no, a number or a day.

Read off the record's own types: what can be typed freely is left out by its type, so that a field that is
added later does not go out because it was forgotten here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from followup.clinical.record import Record
from followup.clinical.record.base import MedicineId
from followup.clinical.record.vision import acuity

How = Literal["as it is", "day moved", "decimal", "medicine of the list", "left out"]
_PLAIN = (bool, int, float)
# Of a list, a number or a day by their type, and still telling who it is or where.
_TELLING = frozenset(
    {
        *("Patient.birth_date", "Patient.birth_year", "Patient.telephones", "Patient.travel"),
        *("HerpeticKeratitis.year", "PressureRise.year"),
    }
)
# Typed as on any chart, and told as a decimal figure: 0 is below any chart.
_ACUITIES = frozenset(
    {"EyeHistory.vision_before", "Findings.vision", "Findings.pinhole", "Findings.best_corrected"}
)
_MEDICINE = get_args(MedicineId)[1]
ANOTHER = "another medicine"


@dataclass(frozen=True)
class Veil:
    """How one patient's values go out: days moved by ``offset``, ``medicines`` the ones that may be named."""

    offset: timedelta
    medicines: frozenset[str]

    def day(self, day: date | None) -> str | None:
        """The day as it goes out."""
        return None if day is None else (day + self.offset).isoformat()

    def medicine(self, name: str) -> str:
        """A medicine as it goes out: one that is of no list may be anything that somebody typed."""
        return name if name in self.medicines else ANOTHER


@dataclass(frozen=True)
class FieldOut:
    """A field by its way in the record ("operations[].cut_mm") and its key ("Operation.cut_mm")."""

    path: str
    of: str
    how: How


def fields_out() -> tuple[FieldOut, ...]:
    """Every field of the record, those that are left out too."""
    return tuple(_walk(Record, ""))


def record_out(record: Record, veil: Veil) -> dict[str, object]:
    """The record as it goes out; what was not recorded stands nowhere in it."""
    return _part(record, veil)


def _walk(model: type[BaseModel], way: str) -> Iterator[FieldOut]:
    for name in model.model_fields:
        of = f"{model.__name__}.{name}"
        how, inner, many = _how(model, name)
        path = f"{way}{name}{'[]' if many else ''}"
        if inner is None:
            yield FieldOut(path, of, how)
        else:
            yield from _walk(inner, f"{path}.")


def _part(part: BaseModel, veil: Veil) -> dict[str, object]:
    found: dict[str, object] = {}
    for name in type(part).model_fields:
        value = getattr(part, name)
        how, inner, many = _how(type(part), name)
        if how == "left out" or value is None:
            continue
        told = [_value(one, how, inner, veil) for one in value] if many else _value(value, how, inner, veil)
        if told not in ({}, [], None):
            found[name] = told
    return found


def _value(value: Any, how: How, inner: type[BaseModel] | None, veil: Veil) -> object:
    if inner is not None:
        return _part(value, veil)
    if how == "day moved":
        return veil.day(value)
    if how == "decimal":
        seen = acuity(value)
        return None if seen is None else round(float(seen), 3)
    return veil.medicine(value) if how == "medicine of the list" else value


@cache
def _how(model: type[BaseModel], name: str) -> tuple[How, type[BaseModel] | None, bool]:
    """How a field goes out, the part of the record that it holds, if it does, and whether it is a list."""
    info, of = model.model_fields[name], f"{model.__name__}.{name}"
    kinds = list(_kinds(info.annotation))
    many = any(get_origin(one) is tuple for one in _options(info.annotation))
    if of in _TELLING:
        return "left out", None, many
    if of in _ACUITIES:
        return "decimal", None, many
    inner = next((one for one in kinds if isinstance(one, type) and issubclass(one, BaseModel)), None)
    if inner is not None:
        return "as it is", inner, many
    if kinds == [date]:
        return "day moved", None, many
    if all(one in _PLAIN or get_origin(one) is Literal for one in kinds):
        return "as it is", None, many
    if _MEDICINE in [*_marks(info.annotation), *info.metadata]:
        return "medicine of the list", None, many
    return "left out", None, many


def _options(annotation: Any) -> Iterator[Any]:
    if get_origin(annotation) in (Union, UnionType):
        yield from get_args(annotation)
    else:
        yield annotation


def _kinds(annotation: Any) -> Iterator[Any]:
    """The types that an annotation is made of, bare of constraints and of "nothing"."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _kinds(get_args(annotation)[0])
    elif origin in (Union, UnionType, tuple):
        for one in get_args(annotation):
            if one is not Ellipsis:
                yield from _kinds(one)
    elif annotation is not NoneType:
        yield annotation


def _marks(annotation: Any) -> Iterator[Any]:
    yield from getattr(annotation, "__metadata__", ())
    if get_origin(annotation) is not Literal:
        for one in get_args(annotation):
            if one is not Ellipsis:
                yield from _marks(one)
