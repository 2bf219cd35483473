"""Reception: whom a code or a name means, who comes, who is here, where a visit may go."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated

from fastapi import Body

from followup.care.danger import InDanger
from followup.care.records.finding import LONGEST_SEARCH, scanned, whom
from followup.care.records.opening import opens
from followup.care.records.recording import known_patient
from followup.care.trips.trip_days import days_to_choose
from followup.care.trips.trip_lines import visit_lines
from followup.care.trips.trips import (
    Arrival,
    Booked,
    Moved,
    Seen,
    WalkIn,
    arrive,
    come_in,
    finish,
    go_home,
    promise,
    stay_away,
)
from followup.care.trips.trips import move as move_visit
from followup.clinical.record.base import Day
from followup.desks.api.base import Code, Given, TripId, router_of
from followup.desks.api.danger import AlertOut, alert_out
from followup.desks.api.people import (
    Person,
    PlanLine,
    SheetLine,
    VisitOut,
    person_of,
    plan_line,
    sheet_line,
    visit_out,
)
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.noted import noted_today
from followup.recall.codes.codes import Scan
from followup.recall.codes.photos import read_photo
from followup.recall.reach.worklist import reason, worklist
from followup.records.desk.alerts import open_alerts
from followup.records.desk.attempts import StandingWord, standing_of
from followup.records.desk.erasing import erased_sheet
from followup.records.plans.plans import plans_of
from followup.records.plans.sheets import find_sheet, sheets_of
from followup.records.trips.trips import day_trips, trip, trips_of
from followup.records.views import TripView

router = router_of("Reception")


class Found(Given):
    """Whom a code, a name or a number means. ``sheet`` is set for a return code of ours;

    ``current`` says whether it is in force, ``give_instead`` which one is;
    ``completed_at``: no plan is in force since then. ``read_as`` is what the text is
    as a code. ``similar``: nobody is written so, ``people`` are those written almost so. ``erased_at``: the
    sheet was ours, and its patient was erased then.
    """

    read_as: str
    sheet: SheetLine | None
    current: bool | None
    completed_at: datetime | None
    give_instead: SheetLine | None
    people: list[Person]
    similar: bool = False
    erased_at: datetime | None = None


class NotedOut(Given):
    """Something noted today that whoever asks may take back, by its ``entry``."""

    entry: int
    text: str
    at: datetime
    by: str


class PatientOut(Given):
    """A patient with every plan, sheet and visit, and what stands open about an eye in danger.

    ``worries`` say in sentences why to reach them; ``standing`` is "followed" unless someone said otherwise.
    """

    patient: Person
    plans: list[PlanLine]
    sheets: list[SheetLine]
    visits: list[VisitOut]
    worries: list[str]
    standing: StandingWord
    alerts: list[AlertOut]
    noted: list[NotedOut]


class DayOut(Given):
    """A day of the window; ``room`` counts the places left, null without limit; ``away`` days from now."""

    day: date
    open: bool
    room: int | None
    away: int
    possible: bool


class DaysOut(Given):
    """Where a visit may go; ``because`` says what a day outside of the window would cost."""

    visit: VisitOut
    days: list[DayOut]
    because: list[str]


@router.post("/find")
def find(
    hand: AnyHand, text: Annotated[str, Body(embed=True, min_length=1, max_length=LONGEST_SEARCH)]
) -> Found:
    """By return code, typed or scanned, by code of the patient, name or telephone number.

    Stores nothing; sent as a body, since addresses are kept in histories and in the logs of others.
    Where nobody is written so, those whose name is written almost so.
    """
    scan = scanned(hand, text)
    with hand.store.read() as session:
        people, similar = whom(session, scan, text)
    return _found(hand, scan, [person_of(who, hand.today) for who in people], similar=similar)


@router.post("/photo")
def photo(
    hand: AnyHand, picture: Annotated[bytes, Body(media_type="application/octet-stream", min_length=1)]
) -> Found:
    """By a photo of the sheet, which is kept nowhere."""
    return _found(hand, read_photo(picture, hand.keyring, hand.clinic.code), [])


@router.get("/patients/{code}")
def patient(hand: AnyHand, code: Code) -> PatientOut:
    """All about a patient."""
    who, words = known_patient(hand, code), hand.texts.translator
    with hand.store.read() as session:
        lines = visit_lines(session, hand, trips_of(session, who.id))
        return PatientOut(
            patient=person_of(who, hand.today),
            plans=[plan_line(version) for version in plans_of(session, who.id)],
            sheets=[sheet_line(sheet) for sheet in sheets_of(session, who.id)],
            visits=[visit_out(line, hand.today) for line in lines],
            worries=[
                reason(item, words) for item in worklist(session, hand.now) if item.patient.id == who.id
            ],
            standing=said.standing if (said := standing_of(session, who.id)) else "followed",
            alerts=[alert_out(hand, InDanger(one, who)) for one in open_alerts(session, [who.id])],
            noted=[NotedOut.model_validate(one) for one in noted_today(session, hand, [who.code])],
        )


@router.get("/visits")
def visits(hand: AnyHand, on: Day | None = None) -> list[VisitOut]:
    """Everybody expected or seen on a day, today without one."""
    with hand.store.read() as session:
        lines = visit_lines(session, hand, day_trips(session, on or hand.today))
    return [visit_out(line, hand.today) for line in lines]


@router.post("/visits/{trip}/arrived")
def arrived(hand: AnyHand, trip_id: TripId, sent: Arrival) -> VisitOut:
    """The patient is here; not before the first right day."""
    return _visit(hand, arrive(hand, trip_id, sent))


@router.post("/visits/{trip}/no-show")
def no_show(hand: AnyHand, trip_id: TripId) -> VisitOut:
    """The patient did not come."""
    return _visit(hand, stay_away(hand, trip_id))


@router.post("/visits/{trip}/left")
def left(hand: AnyHand, trip_id: TripId) -> VisitOut:
    """The patient went home. Without findings the visit stands on the surgeon's list."""
    return _visit(hand, go_home(hand, trip_id))


@router.post("/visits/{trip}/seen")
def seen(hand: AnyHand, trip_id: TripId, sent: Seen) -> VisitOut:
    """Say one by one what was looked at; the rest stays open as a visit of its own."""
    return _visit(hand, finish(hand, trip_id, sent))


@router.post("/visits/{trip}/book")
def book(hand: AnyHand, trip_id: TripId, sent: Booked | None = None) -> VisitOut:
    """Promise the patient the day, with an hour where one is given; its places are taken."""
    return _visit(hand, promise(hand, trip_id, sent or Booked()))


@router.get("/visits/{trip}/days")
def days(hand: AnyHand, trip_id: TripId) -> DaysOut:
    """Every day of a visit's window, and why the window is what it is."""
    found = days_to_choose(hand, trip_id)
    return DaysOut.of(found, visit=visit_out(found.line, hand.today))


@router.post("/visits/{trip}/move")
def move(hand: AnyHand, trip_id: TripId, sent: Moved) -> VisitOut:
    """Move a visit inside its window."""
    return _visit(hand, move_visit(hand, trip_id, sent))


@router.post("/patients/{code}/walk-in")
def walk_in(hand: AnyHand, code: Code, sent: WalkIn) -> VisitOut:
    """Somebody comes without a visit for today."""
    return _visit(hand, come_in(hand, code, sent))


def _visit(hand: DeskHand, changed: TripView) -> VisitOut:
    with hand.store.read() as session:
        line = visit_lines(session, hand, [trip(session, changed.id)])[0]
    return visit_out(line, hand.today)


def _found(hand: DeskHand, scan: Scan, people: list[Person], *, similar: bool = False) -> Found:
    with hand.store.read() as session:
        known = find_sheet(session, scan.sheet_id) if scan.sheet_id else None
        gone = erased_sheet(session, scan.sheet_id) if scan.sheet_id and not known else None
    if known:
        # The address named nobody; a code that was found is one patient all the same.
        opens(hand, hand.desk.opened, "sheet", known.sheet.id)
    return Found(
        read_as=scan.outcome,
        sheet=sheet_line(known.sheet) if known else None,
        current=known.current if known else None,
        completed_at=known.completed_at if known else None,
        give_instead=sheet_line(known.give_instead) if known and known.give_instead else None,
        people=[person_of(known.patient, hand.today)] if known else people,
        similar=similar and known is None,
        erased_at=gone,
    )
