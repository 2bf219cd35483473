"""A bundle that was handed in: whether it can be read safely, and its resources of the kinds that are read.

Refused is what could turn the meaning round: another version of FHIR, elements that modify in ways nobody
here knows, more than one patient. What is only unknown is listed.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from followup.errors import FollowupError
from followup.exchange.fhir.values import Json

KINDS = ("Patient", "Procedure", "Condition", "AllergyIntolerance")
MOST_ENTRIES = 2000
_WHOSE = {"Procedure": "subject", "Condition": "subject", "AllergyIntolerance": "patient"}
_CODED = ("clinicalStatus", "verificationStatus")


@dataclass(frozen=True)
class ReadBundle:
    """The resources of one patient; ``gaps`` tell what of the bundle was not read."""

    patient: Json
    others: Mapping[str, tuple[Json, ...]]
    gaps: tuple[str, ...]


@cache
def elements(kind: str) -> frozenset[str]:
    """The elements of a kind of resource in R4."""
    table = tomllib.loads(Path(__file__).with_name("elements.toml").read_text("utf-8"))
    parts = ("Resource", kind) if kind == "Bundle" else ("Resource", "DomainResource", kind)
    return frozenset(name for part in parts for name in table[part]["names"])


def read_bundle(data: Json, source: str) -> ReadBundle:
    """The bundle in ``data``.

    Errors: ``fhir.kind`` (no bundle, or not built like one), ``fhir.size``, ``fhir.version``,
    ``fhir.modifier``, ``fhir.patients``.
    """
    if data.get("resourceType") != "Bundle":
        raise _error("fhir.kind", "this is no bundle of FHIR", source, "export it as a Bundle")
    _is_r4(data, "Bundle", source)
    entries = data.get("entry", [])
    if not isinstance(entries, list):
        raise _built(source, "entry")
    if len(entries) > MOST_ENTRIES:
        raise _error(
            "fhir.size",
            f"more than {MOST_ENTRIES} entries",
            source,
            "export one patient only",
        )
    found = list(_resources(entries, source))
    used = [(at, name, one) for at, name, one in found if one["resourceType"] in KINDS]
    for at, _, one in used:
        where = f"{source}: entry.{at}"
        _is_r4(one, one["resourceType"], where)
        _refuse_modifiers(one, where)
    patient, names = _one_patient(used, source)
    others = [(at, one) for at, _, one in used if one["resourceType"] != "Patient"]
    for at, one in others:
        _is_of(one, names, f"{source}: entry.{at}")
    by_kind = {kind: tuple(one for _, one in others if one["resourceType"] == kind) for kind in _WHOSE}
    unread = Counter(one["resourceType"] for _, _, one in found if one["resourceType"] not in KINDS)
    gaps = [f"{kind}, {count} in the bundle: not read" for kind, count in sorted(unread.items())]
    urls = sorted({url for _, _, one in used for url in _extensions(one)})
    return ReadBundle(patient, by_kind, (*gaps, *(f"extension {url}: not read" for url in urls)))


def _resources(entries: list[Any], source: str) -> Iterator[tuple[int, str, Json]]:
    for at, entry in enumerate(entries):
        resource = entry.get("resource") if isinstance(entry, dict) else None
        if not isinstance(resource, dict) or not isinstance(resource.get("resourceType"), str):
            raise _built(source, f"entry.{at}.resource")
        name = entry.get("fullUrl")
        yield at, name if isinstance(name, str) else "", resource


def _is_r4(one: Json, kind: str, where: str) -> None:
    """Each element is one of R4's, and a status is coded as R4 codes it."""
    strange = sorted(name for name in one if name.removeprefix("_") not in elements(kind))
    plain = [name for name in _CODED if isinstance(one.get(name), str)]
    if isinstance(one.get("type"), dict):
        plain.append("type")
    for name in (*strange, *plain):
        raise _error(
            "fhir.version",
            f"{kind}.{name[:60]} is not as in FHIR R4 (4.0.1)",
            where,
            "export the bundle as R4; other versions mean other things",
        )
    if "implicitRules" in one:
        raise _modifies(where, "implicitRules")


def _refuse_modifiers(one: Json, where: str) -> None:
    for name, _ in _walk(one):
        if name == "modifierExtension":
            raise _modifies(where, name)


def _extensions(one: Json) -> Iterator[str]:
    for name, value in _walk(one):
        if name == "extension" and isinstance(value, list):
            yield from (str(each.get("url", "without url"))[:200] for each in value if isinstance(each, dict))


def _walk(one: Any) -> Iterator[tuple[str, Any]]:
    """Every element with its name, however deep."""
    waiting = [one]
    while waiting:
        part = waiting.pop()
        if isinstance(part, dict):
            yield from part.items()
            waiting += part.values()
        elif isinstance(part, list):
            waiting += part


def _one_patient(used: list[tuple[int, str, Json]], source: str) -> tuple[Json, frozenset[str]]:
    """The patient and the names by which the others may refer to it."""
    patients = [(name, one) for _, name, one in used if one["resourceType"] == "Patient"]
    if len(patients) != 1:
        raise _error(
            "fhir.patients",
            f"{len(patients)} patients in the bundle, not one",
            source,
            "export one patient only",
        )
    name, patient = patients[0]
    own = patient.get("id")
    names = {name} | ({f"Patient/{own}", f"urn:uuid:{own}"} if isinstance(own, str) else set())
    return patient, frozenset(names - {""})


def _is_of(one: Json, names: frozenset[str], where: str) -> None:
    """It is this patient's and nobody else's: nothing may slip in from another one."""
    whose = one.get(_WHOSE[one["resourceType"]])
    reference = whose.get("reference") if isinstance(whose, dict) else None
    if reference not in names:
        raise _error(
            "fhir.patients",
            f"{one['resourceType']} is not of the patient of this bundle",
            where,
            "export one patient only, with references inside the bundle",
        )


def _modifies(where: str, name: str) -> FollowupError:
    return _error(
        "fhir.modifier",
        f"{name} changes what the rest means, and how is not known here",
        where,
        "export it without, or enter the record by hand",
    )


def _built(source: str, where: str) -> FollowupError:
    return _error(
        "fhir.kind",
        "not built as FHIR says",
        f"{source}: {where}",
        "export the bundle again; half a file may have come",
    )


def _error(code: str, what: str, where: str, fix: str) -> FollowupError:
    return FollowupError(code, what, where=where, fix=fix)
