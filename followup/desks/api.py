"""The desks' lists as JSON, for programs that log in as a member of staff: same door, same roles.

``GET /api/openapi.json`` describes it (OpenAPI 3.1). Failures are answered as
``{"code": ..., "what": ..., "where": ..., "fix": ...}``.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from fastapi import APIRouter, FastAPI, Path
from fastapi.openapi.utils import get_openapi
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field

from followup.clinical.careplan import CarePlan
from followup.clinical.record import Eye
from followup.desks.desk import AnyVisit
from followup.desks.finding import scanned
from followup.desks.reception import refuse_early
from followup.desks.visit_lines import VisitLine, visit_lines
from followup.desks.words import desk_translator
from followup.errors import FollowupError
from followup.recall.worklist import reason, worklist
from followup.records.patients import patient_by_code, search_patients, unknown_patient
from followup.records.plans import active_plan
from followup.records.sheets import find_sheet
from followup.records.trips import day_trips, trip, trips_of
from followup.records.views import PatientView
from followup.records.visits import mark_arrived

router = APIRouter(prefix="/api", tags=["desks"])
# No database has larger numbers.
TripId = Annotated[int, Path(alias="trip", ge=1, le=2_147_483_647)]


class Person(BaseModel):
    """Who a patient is. ``age`` is in whole years, a range where only the year of birth is known."""

    code: str
    name: str
    age: str
    eyes: list[Eye]


class VisitOut(BaseModel):
    """One visit and how it stands today."""

    id: int
    patient: Person
    day: date
    window_start: date
    window_end: date
    status: str
    stands: str
    for_what: list[str]


class Reach(BaseModel):
    """Someone whom reception must reach, most pressing first; ``why`` in sentences."""

    patient: Person
    kind: str
    days: int
    since: date
    why: str


class Found(BaseModel):
    """What a code, a name or a number finds; ``sheet`` is ``current`` or ``replaced`` for a return code."""

    sheet: Literal["current", "replaced"] | None = None
    people: list[Person]


class Arrival(BaseModel):
    """``nonce``: any text of 16 to 64 characters, new for every arrival; sent twice it counts once."""

    nonce: str = Field(min_length=16, max_length=64, pattern=r"^[A-Za-z0-9_-]+$")


@router.get("/visits")
def visits(visit: AnyVisit, on: date | None = None) -> list[VisitOut]:
    """Everybody expected or seen on a day, today without one."""
    with visit.desk.store.read() as session:
        lines = visit_lines(session, visit, day_trips(session, on or visit.today))
    return [_visit(line, visit.today) for line in lines]


@router.get("/to-reach")
def to_reach(visit: AnyVisit) -> list[Reach]:
    """Whom to reach today, in order."""
    words = desk_translator(visit.language)
    with visit.desk.store.read() as session:
        items = worklist(session, visit.now, visit.desk.protocol.recall)
    return [
        Reach(
            patient=_person(item.patient, visit.today),
            kind=item.kind,
            days=item.days,
            since=item.since,
            why=reason(item, words),
        )
        for item in items
    ]


@router.get("/find")
def find(visit: AnyVisit, text: str = "") -> Found:
    """By return code, patient code, name or telephone number."""
    if not 0 < len(text.strip()) <= 200 or "\0" in text:
        raise FollowupError("find.length", "give 1 to 200 characters", where="text", fix="shorten it")
    scan = scanned(visit, text)
    with visit.desk.store.read() as session:
        known = find_sheet(session, scan.sheet_id) if scan.sheet_id else None
        people = (known.patient,) if known else search_patients(session, text)
    sheet = None if known is None else "current" if known.current else "replaced"
    return Found(sheet=sheet, people=[_person(who, visit.today) for who in people])


@router.get("/patients/{code}/visits")
def visits_of(visit: AnyVisit, code: str) -> list[VisitOut]:
    """Every visit of a patient."""
    with visit.desk.store.read() as session:
        who = patient_by_code(session, code)
        if who is None:
            raise unknown_patient()
        lines = visit_lines(session, visit, trips_of(session, who.id))
    return [_visit(line, visit.today) for line in lines]


@router.get("/patients/{code}/plan")
def plan_of(visit: AnyVisit, code: str) -> CarePlan:
    """The signed plan in force."""
    with visit.desk.store.read() as session:
        who = patient_by_code(session, code)
        found = active_plan(session, who.id) if who else None
    if found is None:
        raise FollowupError("plan.unknown", "no plan is in force", fix="look the patient up by name")
    return found.body


@router.post("/visits/{trip}/arrived")
def arrived(visit: AnyVisit, trip_id: TripId, sent: Arrival) -> VisitOut:
    """The patient is here; not before the first right day."""
    with visit.desk.store.write(visit.actor, visit.now) as unit:
        refuse_early(trip(unit.session, trip_id), visit.today)
        mark_arrived(unit, trip_id=trip_id, nonce=sent.nonce)
    with visit.desk.store.read() as session:
        line = visit_lines(session, visit, [trip(session, trip_id)])[0]
    return _visit(line, visit.today)


@router.get("/openapi.json", include_in_schema=False)
def description(visit: AnyVisit) -> JSONResponse:
    """This interface as OpenAPI."""
    bare = FastAPI(title="Follow-up desks", version="1")
    bare.include_router(router)
    return JSONResponse(get_openapi(title=bare.title, version=bare.version, routes=bare.routes))


def _person(who: PatientView, today: date) -> Person:
    return Person(code=who.code, name=who.name, age=who.age_on(today), eyes=list(who.eyes))


def _visit(line: VisitLine, today: date) -> VisitOut:
    seen = line.trip
    return VisitOut(
        id=seen.id,
        patient=_person(line.who, today),
        day=seen.day,
        window_start=seen.window_start,
        window_end=seen.window_end,
        status=seen.status,
        stands=line.stands,
        for_what=[item.text for item in line.reasons],
    )
