"""The operation list and the record: entered, looked at before it is stored, corrected."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from fastapi import Query, Response

from followup.care.plans.preview import glance_of
from followup.care.records import operations as care
from followup.care.records import recording
from followup.care.records.operations import OperationList
from followup.care.records.recording import Correction, NewRecord, known_patient, newest_version
from followup.care.sheets.of_a_day import issue_day as issue_day_sheets
from followup.care.sheets.of_a_day import sheets_of_day
from followup.clinical.careplan import CarePlan
from followup.clinical.record import Eye, Record
from followup.clinical.record.base import Day
from followup.clinical.statuses import PlanStatus
from followup.desks.api.base import Code, Given, router_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.way import AWay
from followup.desks.page.pages import pdf_answer
from followup.records.people.oplist import operations_on
from followup.records.plans.plans import plan

router = router_of("Operations and records")
PDF: dict[int | str, dict[str, Any]] = {
    200: {"content": {"application/pdf": {"schema": {"type": "string", "format": "binary"}}}}
}


class OperationOut(Given):
    """A line of the day: on the list, entered, or both; ``plan_status`` is that of the newest plan."""

    code: str
    name: str
    eye: Eye
    on_list: bool
    entered: bool
    surgeon: str | None
    plan_status: PlanStatus | None


class TellingOut(Given):
    """What was told of an operation, word for word, kept with version ``record_number`` of the record."""

    record_number: int
    eye: Eye
    day: date
    language: str
    text: str
    asked: tuple[str, ...]
    told_by: str


class RecordOut(Given):
    """A version of the record, and all that was told of the patient's operations, newest first."""

    patient: str
    number: int
    entered_by: str
    record: Record
    tellings: tuple[TellingOut, ...]


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
    care.set_list(hand, sent)
    return _operations(hand, sent.on)


@router.post("/operations")
def add_to_list(hand: AnyHand, sent: OperationList) -> list[OperationOut]:
    """Add lines to the operation list of a day; a line that stands there already stays once."""
    care.add_to_list(hand, sent)
    return _operations(hand, sent.on)


@router.post("/operations/sheets", status_code=204)
def issue_day(hand: AnyHand, way: AWay, on: Annotated[Day, Query()]) -> None:
    """Issue a sheet of every signed plan of the day's operations that has none yet."""
    issue_day_sheets(hand, on, way.give)


@router.get("/operations/sheets.pdf", response_class=Response, responses=PDF)
def day_sheets(
    hand: AnyHand, way: AWay, on: Day | None = None, part: Annotated[int, Query(ge=1, le=1000)] = 1
) -> Response:
    """The current sheets of a day's operations in one document."""
    day = on or hand.today
    return pdf_answer(sheets_of_day(hand, day, part, hand.texts.told, way.give), f"sheets-{day}")


@router.post("/records/preview")
def preview(hand: AnyHand, sent: NewRecord) -> Preview:
    """What a record would lead to: its facts and the plan, each line with its reasons. Nothing is stored."""
    found = glance_of(hand, sent.record)
    assert found.view is not None
    return Preview(
        plan=found.view.plan,
        facts=[FactOut.model_validate(one) for one in found.facts],
        listed=[ListCheck.model_validate(check) for check in found.listed],
    )


@router.post("/records", status_code=201)
def enter(hand: AnyHand, sent: NewRecord) -> Stored:
    """Enter the record of a new patient; the plan is drafted from it. The same record again counts once."""
    return _stored(hand, recording.enter(hand, sent))


@router.get("/patients/{code}/record")
def record(hand: AnyHand, code: Code) -> RecordOut:
    """The newest version of a patient's record."""
    who = known_patient(hand, code)
    found = newest_version(hand, who)
    told = tuple(TellingOut.of(one) for one in recording.tellings(hand, who.id))
    return RecordOut.of(found, patient=who.code, tellings=told)


@router.put("/patients/{code}/record")
def correct(hand: AnyHand, code: Code, sent: Correction) -> Stored:
    """Correct a record, or add an operation to it; the plan is drafted again."""
    return _stored(hand, recording.correct(hand, code, sent))


def _operations(hand: DeskHand, day: date) -> list[OperationOut]:
    with hand.store.read() as session:
        found = operations_on(session, day)
    return [OperationOut.of(line, code=line.patient_code) for line in found]


def _stored(hand: DeskHand, plan_id: int) -> Stored:
    with hand.store.read() as session:
        made = plan(session, plan_id)
    return Stored.of(
        made,
        patient=made.patient_code,
        plan=made.id,
        plan_status=made.status,
        signable=made.body.signable,
    )
