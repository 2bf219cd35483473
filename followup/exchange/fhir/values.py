"""The small values that every resource is made of: words with a code, amounts, names of resources."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

from followup.clinical.record import Eye
from followup.typed import plain

Json = dict[str, Any]


@cache
def _codes() -> Mapping[str, Mapping[str, str]]:
    return tomllib.loads(Path(__file__).with_name("codes.toml").read_text("utf-8"))


def words(text: str) -> str:
    """A text as FHIR takes it: without our marks, and nothing but blanks at its ends is nothing."""
    return plain(str(text)).strip()


def coding(name: str) -> Json:
    """The code of this name in ``codes.toml``."""
    return {part: _codes()[name][part] for part in ("system", "code", "display")}


def concept(text: str, code: str | None = None) -> Json:
    """Words, with the code of this name where there is one."""
    coded: Json = {"coding": [coding(code)]} if code else {}
    return coded | {"text": words(text)}


def amount(value: float, unit: str) -> Json:
    """So much of a unit; a whole number is written without a fraction."""
    found = coding(unit)
    whole = int(value) if value == int(value) else value
    return {"value": whole, "unit": found["display"], "system": found["system"], "code": found["code"]}


def eye_site(eye: Eye) -> Json:
    return concept(f"{eye} eye", f"{eye}-eye")


def notes(texts: Iterable[str]) -> list[Json]:
    """Each text once, as an annotation."""
    return [{"text": text} for text in dict.fromkeys(map(words, texts)) if text]


def day(value: date) -> str:
    return value.isoformat()


def instant(value: datetime) -> str:
    """To the second, with its distance from UTC."""
    return value.replace(microsecond=0).isoformat().replace("+00:00", "Z")


def only(**fields: Any) -> Json:
    """The fields that say something: FHIR knows neither null nor an empty list."""
    return {name: value for name, value in fields.items() if value not in (None, "", [], {}, ())}


def items(one: Json, name: str) -> list[Json]:
    """The elements of this name that were handed in as a list of objects; nothing else is any."""
    found = one.get(name)
    return [each for each in found if isinstance(each, dict)] if isinstance(found, list) else []


def inner(one: Json, name: str) -> Json:
    """The element of this name that was handed in as an object, else an empty one."""
    found = one.get(name)
    return found if isinstance(found, dict) else {}


class ClinicNames:
    """The names of one clinic's resources: the same thing has the same name in every bundle."""

    def __init__(self, clinic: str) -> None:
        self.space = uuid5(NAMESPACE_URL, f"urn:followup:{clinic}")

    def id(self, kind: str, key: object) -> UUID:
        return uuid5(self.space, f"{kind}/{key}")

    def reference(self, kind: str, key: object, display: str = "") -> Json:
        """A link to a resource of the same bundle."""
        return only(reference=f"urn:uuid:{self.id(kind, key)}", type=kind, display=words(display))

    def identifier(self, kind: str, value: str, clinic: str) -> Json:
        """A number of ours: the system is this clinic's and nobody else's."""
        return {
            "system": f"urn:uuid:{self.id('numbers', kind)}",
            "value": value,
            "type": {"text": kind},
            "assigner": {"display": clinic},
        }
