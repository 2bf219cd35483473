"""Names in a record that must be known: every medicine and substance, and what it is given as."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import get_args

from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Eye, Record
from followup.clinical.record.base import MedicineRole
from followup.clinical.record.history import eyes_of
from followup.errors import FollowupError
from followup.said import say

_FIX = "use an id of the formulary"
_NUMBERED = re.compile(r"-[0-9]+$")


def check_names(record: Record, protocol: Protocol) -> None:
    """Raise FollowupError for the first medicine that the formulary lacks, or that is no such thing."""
    for field, medicine, role in _named(record, protocol):
        found = protocol.formulary.get(medicine)
        if found is None:
            raise _refused(field, say('no medicine "{medicine}" in the formulary', medicine=medicine))
        if found.role != role:
            raise _refused(
                field, say('"{medicine}" is not a medicine for {role}', medicine=medicine, role=role)
            )
    check_answers(record, protocol)
    known = {name for m in protocol.formulary.values() for name in (m.id, *m.substances)}
    for i, allergy in enumerate(record.patient.allergies):
        if allergy.medicine is not None and allergy.medicine not in known:
            field = f"patient.allergies.{i}.medicine"
            what = f'no medicine or substance "{allergy.medicine}" in the formulary'
            raise _refused(field, what, say("use an id of the formulary, or write it in allergy_text"))


def check_answers(record: Record, protocol: Protocol) -> None:
    """Raise FollowupError for the first answer about a course that no plan of this record can have."""
    eyes = {operation.eye for operation in record.operations}
    eyes |= {eye for entry in record.in_use for eye in eyes_of(entry)}
    for i, operation in enumerate(record.operations):
        named = [(f"answers.{j}", a.course) for j, a in enumerate(operation.answers)]
        named += [(f"products.{j}", p.course) for j, p in enumerate(operation.products)]
        for place, course in named:
            if course is not None and not _can_be(course, eyes, protocol):
                raise FollowupError(
                    "record.course",
                    say('no course "{course}" can be in this plan', course=course),
                    where=say("record: operations.{number}.{place}.course", number=i, place=place),
                    fix=say("name a course as the plan gives it, such as {eye}:steroid", eye=operation.eye),
                )


def _can_be(course: str, eyes: set[Eye], protocol: Protocol) -> bool:
    side, _, what = course.partition(":")
    kind = what.removeprefix("at-surgery:").removesuffix("-weaker")
    roles = {role.replace(" ", "-") for role in get_args(MedicineRole)}
    names = roles | set(protocol.formulary)
    # A medicine that stands twice is numbered from the second on.
    return side in (*eyes, "mouth") and (kind in names or _NUMBERED.sub("", kind) in names)


def _named(record: Record, protocol: Protocol) -> Iterator[tuple[str, str, str]]:
    """Field, medicine and the role it stands in."""
    for side, eye in (("right", record.patient.eyes.right), ("left", record.patient.eyes.left)):
        if eye.herpetic_keratitis and (ordered := eye.herpetic_keratitis.treatment):
            place = f"patient.eyes.{side}.herpetic_keratitis.treatment.medicine"
            yield place, ordered.medicine, "antiviral"
    for i, operation in enumerate(record.operations):
        if operation.antibiotic is not None:
            yield f"operations.{i}.antibiotic", operation.antibiotic, "antibiotic"
        for j, steroid in enumerate(operation.steroid):
            yield f"operations.{i}.steroid.{j}.medicine", steroid.medicine, "steroid"
        for j, drop in enumerate(operation.drops_before):
            known = protocol.formulary.get(drop.medicine)
            yield f"operations.{i}.drops_before.{j}.medicine", drop.medicine, known.role if known else "eye"
        for j, product in enumerate(operation.products):
            yield f"operations.{i}.products.{j}.medicine", product.medicine, product.role


def _refused(field: str, what: str, fix: str = _FIX) -> FollowupError:
    return FollowupError("record.medicine", what, where=say("record: {field}", field=field), fix=fix)
