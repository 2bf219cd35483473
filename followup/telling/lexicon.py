"""The words of the trade in one language: what is read from ``data/<language>/*.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

from followup.telling.model import ToldValue
from followup.telling.words import tokens_of

Sequence = tuple[str, ...]
"""Words that stand one after the other."""
Element = tuple[Sequence, ...]
"""One place of a form: any of these stands there."""
Group = tuple[Element, ...]
"""Places in their order, with nothing between them but words that say nothing."""


@dataclass(frozen=True)
class Form:
    """Groups that stand near each other, in any order."""

    groups: tuple[Group, ...]
    written: str


@dataclass(frozen=True)
class Saying:
    """What these forms say of a field. ``denied`` is what their denial says; nothing where it is None."""

    field: str
    value: ToldValue
    forms: tuple[Form, ...]
    denied: ToldValue | None = None
    unless: tuple[Form, ...] = ()


@dataclass(frozen=True)
class Amount:
    """A figure with its ``units``, near one of ``heads``; ``bare``: a figure without a unit counts too."""

    field: str
    units: tuple[str, ...]
    heads: tuple[Form, ...]
    bare: bool = False
    least: float | None = None
    most: float | None = None
    times: float = 1


@dataclass(frozen=True)
class Elsewhere:
    """Things told that the record has no field for; ``what`` is said by :mod:`followup.telling.said`."""

    what: str
    forms: tuple[Form, ...]


@dataclass(frozen=True)
class Lexicon:
    """One language. ``cues`` are the triggers of negation, hedge and time by kind."""

    tag: str
    skip: frozenset[str]
    subjects: frozenset[str]
    says: tuple[Saying, ...]
    amounts: tuple[Amount, ...]
    masks: tuple[Form, ...]
    elsewhere: tuple[Elsewhere, ...]
    cues: Mapping[str, tuple[Sequence, ...]]
    number_words: Mapping[str, float]
    units: Mapping[str, tuple[Sequence, ...]]
    classes: Mapping[str, Element] = field(repr=False)


def languages() -> tuple[str, ...]:
    """The languages that a telling can be read in."""
    return tuple(sorted(one.name for one in _data().iterdir() if one.is_dir() and one.name[0].isalpha()))


@cache
def lexicon_of(tag: str) -> Lexicon:
    """The lexicon of a language. Raises KeyError where there is none."""
    if tag not in languages():
        raise KeyError(tag)
    files = sorted((one for one in (_data() / tag).iterdir() if one.name.endswith(".toml")), key=str)
    merged: dict[str, Any] = {}
    for file in files:
        for key, value in tomllib.loads(file.read_text(encoding="utf-8")).items():
            merged[key] = _both(merged[key], value) if key in merged else value
    return _made(tag, merged)


def _data() -> Any:
    return resources.files("followup.telling") / "data"


def _both(first: Any, last: Any) -> Any:
    if isinstance(first, dict):
        return {
            key: _both(first[key], last[key]) if key in first and key in last else (first | last)[key]
            for key in first | last
        }
    return first + last


def _made(tag: str, data: Mapping[str, Any]) -> Lexicon:
    classes: dict[str, Element] = {}
    for name, told in data["classes"].items():
        classes[name] = _class(told, classes)
    reader = _FormReader(classes)
    return Lexicon(
        tag=tag,
        skip=frozenset(data["skip"]),
        subjects=frozenset(word for name in data["subjects"] for seq in classes[name] for word in seq[-1:]),
        says=tuple(_saying(reader, one) for one in data["say"]),
        amounts=tuple(_amount(reader, one) for one in data["amount"]),
        masks=reader.all(data.get("mask", ())),
        elsewhere=tuple(Elsewhere(one["what"], reader.all(one["forms"])) for one in data["elsewhere"]),
        cues={kind: tuple(map(sequence, told)) for kind, told in data["cues"].items()},
        number_words=data["numbers"],
        units={unit: tuple(map(sequence, told)) for unit, told in data["units"].items()},
        classes=classes,
    )


def sequence(text: str) -> Sequence:
    """A phrase in folded words."""
    return tuple(token.word for token in tokens_of(text))


def _class(told: Iterable[str], classes: Mapping[str, Element]) -> Element:
    found: dict[Sequence, None] = {}
    for text in told:
        many = classes[text[1:]] if text.startswith("@") else (sequence(text),)
        found.update(dict.fromkeys(many))
    return tuple(found)


@dataclass(frozen=True)
class _FormReader:
    classes: Mapping[str, Element]

    def all(self, told: Iterable[str]) -> tuple[Form, ...]:
        return tuple(self.form(text) for text in told)

    def form(self, text: str) -> Form:
        return Form(tuple(self._group(part) for part in text.split("&")), text)

    def _group(self, text: str) -> Group:
        found: list[Element] = []
        for part in text.split():
            if part.startswith("@"):
                found.append(self.classes[part[1:]])
            else:
                found += [((word,),) for word in sequence(part)]
        return tuple(found)


def _saying(reader: _FormReader, told: Mapping[str, Any]) -> Saying:
    value = tuple(told["value"]) if isinstance(told["value"], list) else told["value"]
    denied = told.get("denied", not value if isinstance(value, bool) else None)
    return Saying(told["field"], value, reader.all(told["forms"]), denied, reader.all(told.get("unless", ())))


def _amount(reader: _FormReader, told: Mapping[str, Any]) -> Amount:
    return Amount(
        told["field"],
        tuple(told["units"]),
        reader.all(told["heads"]),
        told.get("bare", False),
        told.get("least"),
        told.get("most"),
        told.get("times", 1),
    )
