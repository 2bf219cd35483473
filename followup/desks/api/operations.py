"""The operation list and the record: entered, looked at before it is stored, corrected."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Annotated, Any, Literal

from fastapi import Query, Response
from pydantic import Field, StringConstraints

from followup.care.day_sheets import issue_day as issue_day_sheets
from followup.care.day_sheets import sheets_of_day
from followup.care.preview import glance_of
from followup.care.recording import known_patient, newest_version, store_record
from followup.clinical.careplan import CarePlan, PlanStatus
from followup.clinical.record import Eye, Record
from followup.desks.api.base import Code, Day, Given, Number, Sent, router_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.pages import pdf_answer
from followup.records.people.oplist import ListLine, operation_list, operations_on, put_operation_list
from followup.records.plans.plans import plan

router = router_of("Operations and records")
PDF: dict[int | str, dict[str, Any]] = {
    200: {"content": {"application/pdf": {"schema": {"type": "string", "format": "binary"}}}}
}


class Listed(Sent):
    """One expected operation."""

    code: Annotated[str, StringConstraints(strip_whitespace=True, pattern=r"^[A-Za-z0-9][A-Za-z0-9-]{0,23}$")]
    name: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=120)]
    eye: Eye


class OperationList(Sent):
    """The operations of a day in their order."""

    on: Day
    lines: Annotated[list[Listed], Field(max_length=400)]


class OperationOut(Given):
    """A line of the day: on the list, entered, or both; ``plan_status`` is that of the newest plan."""

    code: str
    name: str
    eye: Eye
    on_list: bool
    entered: bool
    surgeon: str | None
    plan_status: PlanStatus | None


class NewRecord(Sent):
    record: Record


class Correction(Sent):
    """``seen`` is the version of the record that the change was made from."""

    seen: Number
    record: Record


class RecordOut(Given):
    """A version of the record."""

    patient: str
    number: int
    entered_by: str
    record: Record


class Stored(Given):
    """What a stored record led to: its version and the draft plan made from it."""

    patient: str
    record_number: int
    plan: int
    plan_status: PlanStatus
    signable: bool


class FactOut(Given):
    fact: str
    value: str


class ListCheck(Given):
    """What the operation list says of one operation of the record."""

    day: date
    eye: Eye
    result: Literal["agrees", "not on the list", "other eye"]


class Preview(Given):
    """What a record would lead to; nothing is stored."""

    plan: CarePlan
    facts: list[FactOut]
    listed: list[ListCheck]


@router.get("/operations")
def operations(hand: AnyHand, on: Day | None = None) -> list[OperationOut]:
    """The operations of a day, today without one."""
    return _operations(hand, on or hand.today)


@router.put("/operations")
def replace_list(hand: AnyHand, sent: OperationList) -> list[OperationOut]:
    """Set the operation list of a day, in place of the one that stood there."""
    with hand.store.write(hand.actor, hand.now) as unit:
        put_operation_list(unit, day=sent.on, lines=_lines(sent))
    return _operations(hand, sent.on)


@router.post("/operations")
def add_to_list(hand: AnyHand, sent: OperationList) -> list[OperationOut]:
    """Add lines to the operation list of a day; a line that stands there already stays once."""
    with hand.store.write(hand.actor, hand.now) as unit:
        kept = operation_list(unit.session, sent.on)
        known = {(line.patient_code.casefold(), line.eye) for line in kept}
        fresh = [line for line in _lines(sent) if (line.patient_code.casefold(), line.eye) not in known]
        if fresh:
            put_operation_list(unit, day=sent.on, lines=[*kept, *fresh])
    return _operations(hand, sent.on)


@router.post("/operations/sheets", status_code=204)
def issue_day(hand: AnyHand, on: Annotated[Day, Query()]) -> None:
    """Issue a sheet of every signed plan of the day's operations that has none yet."""
    issue_day_sheets(hand, on)


@router.get("/operations/sheets.pdf", response_class=Response, responses=PDF)
def day_sheets(
    hand: AnyHand, on: Day | None = None, part: Annotated[int, Query(ge=1, le=1000)] = 1
) -> Response:
    """The current sheets of a day's operations in one document."""
    day = on or hand.today
    return pdf_answer(sheets_of_day(hand, day, part, hand.texts.told), f"sheets-{day}")


@router.post("/records/preview")
def preview(hand: AnyHand, sent: NewRecord) -> Preview:
    """What a record would lead to: its facts and the plan, each line with its reasons. Nothing is stored."""
    found = glance_of(hand, sent.record)
    assert found.view is not None
    return Preview(
        plan=found.view.plan,
        facts=[FactOut(fact=one.fact, value=one.value) for one in found.facts],
        listed=[ListCheck.model_validate(check) for check in found.listed],
    )


@router.post("/records", status_code=201)
def enter(hand: AnyHand, sent: NewRecord) -> Stored:
    """Enter the record of a new patient; the plan is drafted from it. The same record again counts once."""
    return _stored(hand, store_record(hand, sent.record, None, 0))


@router.get("/patients/{code}/record")
def record(hand: AnyHand, code: Code) -> RecordOut:
    """The newest version of a patient's record."""
    who = known_patient(hand, code)
    found = newest_version(hand, who)
    return RecordOut(patient=who.code, number=found.number, entered_by=found.entered_by, record=found.record)


@router.put("/patients/{code}/record")
def correct(hand: AnyHand, code: Code, sent: Correction) -> Stored:
    """Correct a record, or add an operation to it; the plan is drafted again."""
    return _stored(hand, store_record(hand, sent.record, known_patient(hand, code), sent.seen))


def _operations(hand: DeskHand, day: date) -> list[OperationOut]:
    with hand.store.read() as session:
        found = operations_on(session, day)
    return [
        OperationOut(
            code=line.patient_code,
            name=line.name,
            eye=line.eye,
            on_list=line.on_list,
            entered=line.entered,
            surgeon=line.surgeon,
            plan_status=line.plan_status,
        )
        for line in found
    ]


def _lines(sent: OperationList) -> Sequence[ListLine]:
    return [ListLine(line.code, line.name, line.eye) for line in sent.lines]


def _stored(hand: DeskHand, plan_id: int) -> Stored:
    with hand.store.read() as session:
        made = plan(session, plan_id)
    return Stored(
        patient=made.patient_code,
        record_number=made.record_number,
        plan=made.id,
        plan_status=made.status,
        signable=made.body.signable,
    )
