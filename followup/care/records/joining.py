"""Another operation of a known patient: it joins the record, and nothing else there is changed by a row."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from followup.care.fields.checked import check, place_of
from followup.care.hand import Hand
from followup.care.plans.planning import newest_edits, planned
from followup.care.records.telling import must_fit
from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import CarePlan
from followup.clinical.record import Operation, Record
from followup.errors import FollowupError
from followup.language.entered import must_print
from followup.records.people.folding import fold_code, fold_name, fold_phone
from followup.records.people.listed import KnownPatient
from followup.records.people.oplist import refuse_other_eye
from followup.records.people.patients import correct_record, in_use, record_versions, refuse_decisions
from followup.records.people.tellings import tellings_of
from followup.records.plans.plans import active_plan, store_draft
from followup.records.store.store import Session, Unit
from followup.records.trips.trips import trips_of
from followup.records.views import RecordVersion
from followup.said import say
from followup.typed import typed

_FOLDED = {"code": fold_code, "name": fold_name, "name_latin": fold_name, "number": fold_phone}
# Told a second time to find a slip; it says nothing of its own.
_AGAIN = "eye_drawn"


@dataclass(frozen=True)
class Joining:
    """The record's next version with the operations that were ``added``, and its plan.

    ``rests_on``: what else the plan was built from.
    """

    version: RecordVersion
    added: tuple[Operation, ...]
    plan: CarePlan
    edits: tuple[Adjustment, ...]
    rests_on: tuple[Any, ...]

    def still_holds(self, session: Session) -> bool:
        """Whether the plan would be the same now, the record and the clinic's places being the same."""
        return _rests_on(session, self.version.patient_id) == self.rests_on

    def store(self, unit: Unit) -> None:
        """As whoever adds the operation by hand does. Errors: those of ``correct_record``."""
        known = self.version.patient_id
        correct_record(unit, patient_id=known, record=self.version.record, seen=self.version.number - 1)
        store_draft(
            unit,
            patient_id=known,
            record_number=self.version.number,
            body=self.plan,
            edits=self.edits,
        )


def _rests_on(session: Session, patient_id: int) -> tuple[Any, ...]:
    in_force = active_plan(session, patient_id)
    return trips_of(session, patient_id), in_force and in_force.id, newest_edits(session, patient_id)


def join(hand: Hand, known: KnownPatient, told: Record, columns: Mapping[str, str]) -> Joining | None:
    """What ``told`` adds; None where it stands there already, also in a version that was corrected since.

    ``columns``: what the clinic calls the record's fields. Errors: ``record.differs`` where it says
    something else of the patient or of an operation than the record; those of ``correct_record``.
    """
    with hand.store.read() as session:
        versions = record_versions(session, known.id)
        added = _added([one.record for one in versions], told, columns)
        if not added:
            return None
        newest = versions[0]
        record = check({**_data(newest.record), "operations": [*newest.record.operations, *added]})
        must_print(record)
        must_fit(record, tellings_of(session, known.id), None)
        refuse_decisions(record, newest.record)
        refuse_other_eye(session, record)
        version = RecordVersion(known.id, newest.number + 1, record, hand.actor.login, hand.now)
        edits = newest_edits(session, known.id)
        plan = planned(session, hand, version, edits)
        return Joining(version, added, plan, edits, _rests_on(session, known.id))


def _data(record: Record) -> dict[str, Any]:
    return {name: getattr(record, name) for name in record.model_fields_set}


def _added(versions: Sequence[Record], told: Record, columns: Mapping[str, str]) -> tuple[Operation, ...]:
    """The operations that the newest of ``versions`` does not have, if nothing else differs."""
    if any(not _new(one, told) and not [*_differences(one, told)] for one in versions):
        return ()
    newest = versions[0]
    for each in _differences(newest, told):
        if each.operation is None or not any(_stood(one, each.operation) for one in versions[1:]):
            raise each.refusal(newest.patient.code, columns)
    if any(getattr(told, name) != getattr(newest, name) for name in _others(told)):
        # Looks, visits and decisions come in by hand, each at its place.
        raise in_use(newest.patient.code)
    return _new(newest, told)


def _others(told: Record) -> Iterator[str]:
    for name in type(told).model_fields:
        if name not in ("patient", "operations") and getattr(told, name):
            yield name


def _new(known: Record, told: Record) -> tuple[Operation, ...]:
    there = {(one.eye, one.date) for one in known.operations}
    return tuple(one for one in told.operations if (one.eye, one.date) not in there)


@dataclass(frozen=True)
class _Difference:
    """A field in which a row and the record say different things, of the patient or of one operation."""

    name: str
    told: Any
    known: Any
    operation: Operation | None = None

    def refusal(self, code: str, columns: Mapping[str, str]) -> FollowupError:
        if _is_nothing(self.known):
            what = say(
                "the row says {told}, the record of {code} says nothing there",
                told=typed(_shown(self.told)),
                code=typed(code),
            )
        else:
            what = say(
                "the row says {told}, the record of {code} says {known}",
                told=typed(_shown(self.told)),
                code=typed(code),
                known=typed(_shown(self.known)),
            )
        own = columns.get(self.name)
        return FollowupError(
            "record.differs",
            say("column {column}: {why}", column=typed(own), why=what) if own else what,
            where="" if own else place_of(self.name),
            fix=say("correct the table, or the patient's record by hand"),
        )


def _differences(known: Record, told: Record) -> Iterator[_Difference]:
    said = told.patient.model_dump(exclude_unset=True)
    there = known.patient.model_dump()
    born = known.patient.birth_date
    if said.get("birth_date") and not born and said["birth_date"].year == there["birth_year"]:
        # The day of a year that the record has: it says more, and nothing else.
        del said["birth_date"]
    if born:
        there["birth_year"] = born.year
    for name, one, other in _unlike("patient", said, there):
        yield _Difference(name, one, other)
    for operation in told.operations:
        yield from _of_operation(known, operation)


def _of_operation(known: Record, told: Operation) -> Iterator[_Difference]:
    there = next((one for one in known.operations if (one.eye, one.date) == (told.eye, told.date)), None)
    if there is not None:
        said = told.model_dump(exclude_unset=True, exclude={_AGAIN})
        for name, one, other in _unlike("operations.0", said, there.model_dump()):
            yield _Difference(name, one, other, told)


def _stood(known: Record, told: Operation) -> bool:
    """Whether an earlier version has this operation in these words."""
    return not _new_one(known, told) and not [*_of_operation(known, told)]


def _new_one(known: Record, told: Operation) -> bool:
    return all((one.eye, one.date) != (told.eye, told.date) for one in known.operations)


def _unlike(path: str, told: Any, known: Any) -> Iterator[tuple[str, Any, Any]]:
    """Field by field what is ``told`` and not ``known``. Of a list each thing must stand in the other."""
    if isinstance(told, dict):
        for name, value in told.items():
            yield from _unlike(f"{path}.{name}", value, (known or {}).get(name))
    elif isinstance(told, (list, tuple)):
        for value in told:
            yield from _unlike_any(path, value, known or ())
    elif not _is_nothing(told) and _folded(path, told) != _folded(path, known):
        yield path, told, known


def _unlike_any(path: str, value: Any, known: Sequence[Any]) -> Iterator[tuple[str, Any, Any]]:
    inside = f"{path}.0" if isinstance(value, dict) else path
    found = [[*_unlike(inside, value, other)] for other in known]
    if not all(found):
        return
    name, one, _ = next(_unlike(inside, value, None), (inside, value, None))
    key = name.rpartition(".")[2]
    yield name, one, ", ".join(_shown(other[key] if isinstance(other, dict) else other) for other in known)


def _folded(path: str, value: Any) -> Any:
    fold = _FOLDED.get(path.rpartition(".")[2])
    return fold(value) if fold and isinstance(value, str) else value


def _is_nothing(value: Any) -> bool:
    return value is None or value == ""


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, date) else str(value)
