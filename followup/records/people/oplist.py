"""The theatre's list of a day, and the check of every entered eye against it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, cast

from sqlmodel import Session, col, delete, select

from followup.clinical.record import Eye, Record
from followup.clinical.statuses import PlanStatus
from followup.errors import FollowupError
from followup.records.duties import CLINICAL, PROGRAM
from followup.records.people.folding import fold_code
from followup.records.store.batches import batches
from followup.records.store.binding import site_of_session
from followup.records.store.store import Unit
from followup.records.tables import CarePlanRow, OperationListRow, OperationRow, PatientRow
from followup.records.views import OperationOnDay
from followup.said import say
from followup.typed import typed


@dataclass(frozen=True)
class ListLine:
    """One expected operation."""

    patient_code: str
    name: str
    eye: Eye


@dataclass(frozen=True)
class EyeCheck:
    """What the list says of one operation of a record."""

    day: date
    eye: Eye
    result: Literal["agrees", "not on the list", "other eye"]


def put_operation_list(unit: Unit, *, day: date, lines: Iterable[ListLine]) -> None:
    """Replace the list of ``day``. Errors: ``role.missing``, ``list.double`` when an eye stands twice."""
    unit.need_role(*CLINICAL, PROGRAM)
    chosen = list(lines)
    counts = Counter((fold_code(line.patient_code), line.eye) for line in chosen)
    doubles = [line for line in chosen if counts[fold_code(line.patient_code), line.eye] > 1]
    if doubles:
        raise FollowupError(
            "list.double",
            say(
                "{patient_code} stands twice with the {eye} eye",
                patient_code=typed(doubles[0].patient_code),
                eye=doubles[0].eye,
            ),
            where=say("operation list of {day}", day=day),
            fix=say("take one line out"),
        )
    site = site_of_session(unit.session)
    here = (col(OperationListRow.day) == day, col(OperationListRow.site_id) == site)
    unit.session.execute(delete(OperationListRow).where(*here))
    for position, line in enumerate(chosen):
        unit.session.add(
            OperationListRow(
                site_id=site,
                day=day,
                patient_code=line.patient_code.strip(),
                code_key=fold_code(line.patient_code),
                name=line.name,
                eye=line.eye,
                position=position,
            )
        )
    unit.log("operation list set", f"list:{day}", lines=len(chosen))


def operation_list(session: Session, day: date) -> tuple[ListLine, ...]:
    """The list of ``day`` as it was put, in its order."""
    rows = session.exec(
        select(OperationListRow)
        .where(OperationListRow.day == day, OperationListRow.site_id == site_of_session(session))
        .order_by(col(OperationListRow.position))
    )
    return tuple(ListLine(row.patient_code, row.name, cast(Eye, row.eye)) for row in rows)


def check_against_list(session: Session, record: Record) -> tuple[EyeCheck, ...]:
    """What the operation lists say of each operation of the record."""
    return check_against_lists(session, [record])[0]


def check_against_lists(session: Session, records: Sequence[Record]) -> list[tuple[EyeCheck, ...]]:
    """The same of several records at once, each by its place."""
    days = {operation.date for record in records for operation in record.operations}
    on_them = select(OperationListRow).where(col(OperationListRow.day).in_(days))
    listed: dict[tuple[str, date], set[str]] = {}
    for some in batches(fold_code(record.patient.code) for record in records):
        for row in session.exec(on_them.where(col(OperationListRow.code_key).in_(some))):
            listed.setdefault((row.code_key, row.day), set()).add(row.eye)
    return [
        tuple(
            EyeCheck(day, eye, _result(listed.get((fold_code(record.patient.code), day)), eye))
            for day, eye in ((operation.date, operation.eye) for operation in record.operations)
        )
        for record in records
    ]


def refuse_other_eye(session: Session, record: Record) -> None:
    """Error ``record.eye`` when a list names only the other eye for one of the operations."""
    if (found := other_eye(check_against_list(session, record))) is not None:
        raise found


def other_eye(checks: Iterable[EyeCheck]) -> FollowupError | None:
    """The refusal of a record for one of whose operations the list names only the other eye."""
    check = next((one for one in checks if one.result == "other eye"), None)
    if check is None:
        return None
    return FollowupError(
        "record.eye",
        say(
            "the operation list of {day} does not name the {eye} eye of this patient",
            day=check.day,
            eye=check.eye,
        ),
        where=say("operations.eye"),
        fix=say("look at the patient and the list, then correct whichever is wrong"),
    )


def operations_on(session: Session, day: date) -> tuple[OperationOnDay, ...]:
    """The day's operations: those on the list in its order, then those entered without it."""
    entered = {
        (row.code_key, operation.eye): (row, operation)
        for row, operation in session.exec(
            select(PatientRow, OperationRow)
            .join(OperationRow, col(OperationRow.patient_id) == PatientRow.id)
            .where(OperationRow.day == day)
            .order_by(PatientRow.code_key, OperationRow.eye)
        )
    }
    known = {row.code_key: row for row in _patients_of_list(session, day)}
    listed = session.exec(
        select(OperationListRow).where(OperationListRow.day == day).order_by(col(OperationListRow.position))
    ).all()
    states = _plan_states(session, {row.id for row, _ in entered.values()})
    lines = []
    for line in listed:
        match = entered.pop((line.code_key, line.eye), None)
        lines.append(_expected(day, line, match, known.get(line.code_key), states))
    lines += [_entered(day, row, operation, states) for row, operation in entered.values()]
    return tuple(lines)


def surgeons_of(session: Session, patients: Iterable[int]) -> dict[int, frozenset[str]]:
    """Who operated on each of these patients, in lower case and without double blanks."""
    rows = session.exec(select(OperationRow).where(col(OperationRow.patient_id).in_(set(patients))))
    found: dict[int, set[str]] = {}
    for row in rows:
        found.setdefault(row.patient_id, set()).add(folded_name(row.surgeon or ""))
    return {patient: frozenset(names - {""}) for patient, names in found.items()}


def folded_name(name: str) -> str:
    """A person's name as it is compared."""
    return " ".join(name.split()).casefold()


def _result(eyes: set[str] | None, eye: Eye) -> Literal["agrees", "not on the list", "other eye"]:
    if not eyes:
        return "not on the list"
    return "agrees" if eye in eyes else "other eye"


def _patients_of_list(session: Session, day: date) -> Iterable[PatientRow]:
    return session.exec(
        select(PatientRow)
        .join(OperationListRow, col(OperationListRow.code_key) == PatientRow.code_key)
        .where(OperationListRow.day == day)
    )


def _plan_states(session: Session, patients: set[int | None]) -> dict[int, PlanStatus]:
    """The status of each patient's newest plan version."""
    rows = session.exec(
        select(CarePlanRow.patient_id, CarePlanRow.status)
        .where(col(CarePlanRow.patient_id).in_(patients))
        .order_by(col(CarePlanRow.number))
    )
    return {patient: cast(PlanStatus, status) for patient, status in rows}


def _expected(
    day: date,
    line: OperationListRow,
    match: tuple[PatientRow, OperationRow] | None,
    known: PatientRow | None,
    states: dict[int, PlanStatus],
) -> OperationOnDay:
    patient = match[0] if match else known
    return OperationOnDay(
        day=day,
        patient_code=line.patient_code,
        name=line.name,
        eye=cast(Eye, line.eye),
        on_list=True,
        entered=match is not None,
        patient_id=patient.id if patient else None,
        surgeon=match[1].surgeon if match else None,
        plan_status=states.get(match[0].id or 0) if match else None,
    )


def _entered(
    day: date, row: PatientRow, operation: OperationRow, states: dict[int, PlanStatus]
) -> OperationOnDay:
    return OperationOnDay(
        day=day,
        patient_code=row.code,
        name=row.name,
        eye=cast(Eye, operation.eye),
        on_list=False,
        entered=True,
        patient_id=row.id,
        surgeon=operation.surgeon,
        plan_status=states.get(row.id or 0),
    )
