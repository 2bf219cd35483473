"""Names in a record that must be known: every medicine and substance, and what it is given as."""

from __future__ import annotations

from collections.abc import Iterator

from followup.clinical.protocol import Protocol
from followup.clinical.record import Record
from followup.errors import FollowupError

_FIX = "use an id of the formulary"


def check_names(record: Record, protocol: Protocol) -> None:
    """Raise FollowupError for the first medicine that the formulary lacks, or that is no such thing."""
    for field, medicine, role in _named(record):
        found = protocol.formulary.get(medicine)
        if found is None:
            raise _refused(field, f'no medicine "{medicine}" in the formulary')
        if found.role != role:
            raise _refused(field, f'"{medicine}" is not a medicine for {role}')
    known = {name for m in protocol.formulary.values() for name in (m.id, *m.substances)}
    for i, allergy in enumerate(record.patient.allergies):
        if allergy.medicine is not None and allergy.medicine not in known:
            field = f"patient.allergies.{i}.medicine"
            what = f'no medicine or substance "{allergy.medicine}" in the formulary'
            raise _refused(field, what, "use an id of the formulary, or write it in allergy_text")


def _named(record: Record) -> Iterator[tuple[str, str, str]]:
    """Field, medicine and the role it stands in."""
    for i, operation in enumerate(record.operations):
        if operation.antibiotic is not None:
            yield f"operations.{i}.antibiotic", operation.antibiotic, "antibiotic"
        for j, steroid in enumerate(operation.steroid):
            yield f"operations.{i}.steroid.{j}.medicine", steroid.medicine, "steroid"
        for j, product in enumerate(operation.products):
            yield f"operations.{i}.products.{j}.medicine", product.medicine, product.role


def _refused(field: str, what: str, fix: str = _FIX) -> FollowupError:
    return FollowupError("record.medicine", what, where=f"record: {field}", fix=fix)
