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

from followup.clinical.english import listed
from followup.errors import FollowupError
from followup.exchange.fhir.values import Json, inner, items

KINDS = ("Patient", "Procedure", "Condition", "AllergyIntolerance")
TYPES = ("collection", "document", "searchset", "transaction", "batch")
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

    Errors: ``fhir.kind`` (no bundle, not built like one, or of a type that is not read), ``fhir.size``,
    ``fhir.version``, ``fhir.modifier``, ``fhir.patients``.
    """
    if data.get("resourceType") != "Bundle":
        raise FollowupError(
            "fhir.kind", "this is no bundle of FHIR", where=source, fix="export it as a Bundle"
        )
    _is_r4(data, "Bundle", source)
    _refuse_type(data, source)
    entries = data.get("entry", [])
    if not isinstance(entries, list):
        raise _built(source, "entry")
    if len(entries) > MOST_ENTRIES:
        raise FollowupError(
            "fhir.size",
            f"more than {MOST_ENTRIES} entries",
            where=source,
            fix="export one patient only",
        )
    found = list(_resources(entries, source))
    used = [(at, name, one) for at, name, one in found if one["resourceType"] in KINDS]
    for at, _, one in used:
        where = f"{source}: entry.{at}"
        _is_r4(one, one["resourceType"], where)
        _refuse_modifiers(one, where)
    patient, names = _one_patient(used, source)
    for at, name, one in used:
        if one["resourceType"] != "Patient":
            _is_of(one, names, name, f"{source}: entry.{at}")
    by_kind = {kind: tuple(one for _, _, one in used if one["resourceType"] == kind) for kind in _WHOSE}
    unread = Counter(one["resourceType"] for _, _, one in found if one["resourceType"] not in KINDS)
    gaps = [f"{kind}, {count} in the bundle: not read" for kind, count in sorted(unread.items())]
    gaps += _in_part(data, used)
    urls = sorted({url for _, _, one in used for url in _extensions(one)})
    return ReadBundle(patient, by_kind, (*gaps, *(f"extension {url}: not read" for url in urls)))


def _refuse_type(data: Json, source: str) -> None:
    """A history holds what was before beside what is, and a response or a message what somebody asked for."""
    if data.get("type") not in TYPES:
        raise FollowupError(
            "fhir.kind",
            f"a bundle of the type {str(data.get('type', 'not told'))[:40]} is not read",
            where=source,
            fix=f"export it as one of {listed(TYPES)}",
        )


def _in_part(data: Json, used: list[tuple[int, str, Json]]) -> Iterator[str]:
    """What tells that the bundle or a resource of it is not the whole, or is not of a true patient."""
    if any(link.get("relation") == "next" for link in items(data, "link")):
        yield "the bundle says that more of it follows on another page: ask for the whole"
    resources = [one for _, _, one in used]
    marks = {code for one in (data, *resources) for code in _marks(inner(one, "meta"))}
    if "HTEST" in marks:
        yield "the bundle says that it is test data, of no true patient"
    if "SUBSETTED" in marks:
        yield "the bundle says that parts of it were left out: ask for the whole"
    kinds = Counter(str(each.get("resourceType")) for one in resources for each in items(one, "contained"))
    for kind, count in sorted(kinds.items()):
        yield f"{kind[:60]}, {count} contained in others: not read"


def _marks(meta: Json) -> Iterator[str]:
    """The codes of its security labels and tags."""
    yield from (str(mark.get("code")) for name in ("security", "tag") for mark in items(meta, name))


def _resources(entries: list[Any], source: str) -> Iterator[tuple[int, str, Json]]:
    for at, entry in enumerate(entries):
        resource = entry.get("resource") if isinstance(entry, dict) else None
        if not isinstance(resource, dict) or not isinstance(resource.get("resourceType"), str):
            raise _built(source, f"entry.{at}.resource")
        if "request" in entry and inner(entry, "request").get("method") not in ("POST", "PUT"):
            raise _modifies(f"{source}: entry.{at}", "request.method")
        name = entry.get("fullUrl")
        yield at, name if isinstance(name, str) else "", resource


def _is_r4(one: Json, kind: str, where: str) -> None:
    """Each element is one of R4's, and a status is coded as R4 codes it."""
    strange = sorted(name for name in one if name.removeprefix("_") not in elements(kind))
    plain = [name for name in _CODED if isinstance(one.get(name), str)]
    if isinstance(one.get("type"), dict):
        plain.append("type")
    for name in (*strange, *plain):
        raise FollowupError(
            "fhir.version",
            f"{kind}.{name[:60]} is not as in FHIR R4 (4.0.1)",
            where=where,
            fix="export the bundle as R4; other versions mean other things",
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
        raise FollowupError(
            "fhir.patients",
            f"{len(patients)} patients in the bundle, not one",
            where=source,
            fix="export one patient only",
        )
    name, patient = patients[0]
    own = patient.get("id")
    names = {name} | ({f"Patient/{own}", f"urn:uuid:{own}"} if isinstance(own, str) else set())
    return patient, frozenset(names - {""})


def _is_of(one: Json, names: frozenset[str], name: str, where: str) -> None:
    """It is this patient's and nobody else's: nothing may slip in from another one.

    ``Patient/1`` is of the server that the resource itself (``name``) is of.
    """
    reference = inner(one, _WHOSE[one["resourceType"]]).get("reference")
    wanted = reference.partition("/_history/")[0] if isinstance(reference, str) else ""
    servers = {_server(each, "Patient") for each in names} - {""}
    elsewhere = wanted.startswith("Patient/") and not {_server(name, one["resourceType"])} - {""} <= servers
    if wanted not in names or (servers and elsewhere):
        raise FollowupError(
            "fhir.patients",
            f"{one['resourceType']} is not of the patient of this bundle",
            where=where,
            fix="export one patient only, with references inside the bundle",
        )


def _server(name: str, kind: str) -> str:
    """Where a resource of this kind is kept, from its whole address."""
    base, found, _ = name.rpartition(f"/{kind}/")
    return base if found else ""


def _modifies(where: str, name: str) -> FollowupError:
    return FollowupError(
        "fhir.modifier",
        f"{name} changes what the rest means, and how is not known here",
        where=where,
        fix="export it without, or enter the record by hand",
    )


def _built(source: str, where: str) -> FollowupError:
    return FollowupError(
        "fhir.kind",
        "not built as FHIR says",
        where=f"{source}: {where}",
        fix="export the bundle again; half a file may have come",
    )
