"""What stands on a sheet: the same sheet gives the same content on any day."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass
from typing import Any

from followup.care.hand import Hand
from followup.care.plans.plan_view import load, record_of
from followup.clinical.careplan import CarePlan, Trip
from followup.clinical.day_plan import Bottle
from followup.clinical.record import Record
from followup.errors import FollowupError
from followup.language.catalogues import choose
from followup.recall.codes.codes import new_sheet_id, qr_payload, typed_code
from followup.records.desk.erasing import erased_sheet
from followup.records.house.clinics import get_clinic
from followup.records.plans.desk_notes import (
    NotedVisit,
    NotedVisits,
    as_printed,
    sheet_options,
    sheet_visits,
)
from followup.records.plans.plans import plan
from followup.records.plans.sheets import find_sheet, issue_sheet, sheet_to_come, sheets_of
from followup.records.store.store import Session, Unit, conflict
from followup.records.trips.trips import trips_of_plan
from followup.records.views import FoundSheet, PlanVersion, SheetView
from followup.said import say
from followup.sheets.content import ClinicInfo, SheetIssue, build_content, sheet_language
from followup.sheets.model import SheetContent
from followup.sheets.options import NOTHING_CHOSEN, SheetChoices, SheetOptions, usual_options
from followup.sheets.paper.pdf import render_pdf
from followup.sheets.paper.typesetter import Typesetter, typesetter

# How often a sheet is set anew because something on it changed meanwhile.
_TRIES = 3


def look_of_plan(
    hand: Hand, version: PlanVersion, chosen: SheetChoices = NOTHING_CHOSEN, language: str | None = None
) -> SheetLook:
    """How a plan's sheet prints here: as was chosen, now or for the patient's last sheet."""
    with hand.store.read() as session:
        look = next_look(session, record_of(session, version).record, version.patient_id)
    return SheetLook(language or look.language, chosen.over(look.options))


@dataclass(frozen=True)
class SheetLook:
    """How the next sheet of a patient prints unless somebody chooses otherwise."""

    language: str
    options: SheetOptions


def next_look(session: Session, record: Record, patient_id: int) -> SheetLook:
    """As the patient and the clinic need it, but for what somebody chose for the patient's last sheet."""
    usual = usual_options(record, calendar=get_clinic(session).days_to_tick)
    own = sheet_language(record, None).language.tag
    last = next(iter(sheets_of(session, patient_id)[::-1]), None)
    if last is None:
        return SheetLook(own, usual)
    before = record_of(session, plan(session, last.plan_id)).record
    chosen = _chosen(printed_options(session, last.id), usual_options(before, calendar=usual.calendar))
    spoken = last.language != sheet_language(before, None).language.tag
    return SheetLook(last.language if spoken else own, chosen.over(usual))


def _chosen(printed: SheetOptions, usual: SheetOptions) -> SheetChoices:
    """What was chosen of a sheet: whatever is not as that patient and the clinic needed it then."""
    was, needed = asdict(printed), asdict(usual)
    differs = {name: value for name, value in was.items() if value != needed[name]}
    return SheetChoices(**differs | ({"twin": differs["twin"] or ""} if "twin" in differs else {}))


def draft_content(
    hand: Hand, plan_id: int, language: str | None, chosen: SheetChoices = NOTHING_CHOSEN
) -> SheetContent:
    """The plan as it would print, with a watermark and without a code."""
    view = load(hand, plan_id)
    look = look_of_plan(hand, view.version, chosen, language)
    with hand.store.read() as session:
        noted = _now_of(session, plan_id)
        earlier = plans_printed(session, view.version.patient_id)
    return build_content(
        _with_visits(view.plan, noted),
        view.record,
        hand.protocol.formulary,
        clinic_info(hand),
        language=look.language,
        printed_on=hand.today,
        aftercare=hand.protocol.aftercare,
        earlier=earlier,
        options=look.options,
    )


def issue_one(
    hand: Hand,
    plan_id: int,
    chosen: SheetChoices = NOTHING_CHOSEN,
    *,
    language: str | None = None,
    reason: str = "",
    there: Callable[[Session], SheetView | None] = lambda _: None,
    setter: Typesetter = typesetter,
) -> SheetView:
    """Issue a sheet under a new code; one that can't be laid out never: its code would name nothing.

    It is set first, while nobody waits for it, and stored in one short unit if it still says the same then;
    else it is set anew. ``there``: the sheet that makes another one needless. Errors: those of
    ``issue_sheet`` and of ``render_pdf``, ``store.conflict`` where it changes each time.
    """
    for _ in range(_TRIES):
        with hand.store.read() as session:
            if known := there(session):
                return known
            sheet_id, version = new_sheet_id(), plan(session, plan_id)
            printed = _printed(session, version, chosen, language)
            coming = sheet_to_come(
                session,
                plan_id=plan_id,
                sheet_id=sheet_id,
                language=printed.language,
                now=hand.now,
                by=hand.actor.login,
                reason=reason,
            )
            content = _content(session, hand, coming, printed.options, printed.visits)
        render_pdf(content, setter)
        with suppress(_OvertakenError), hand.store.write(hand.actor, hand.now) as unit:
            if known := there(unit.session):
                return known
            sheet = note_sheet(unit, version, sheet_id, chosen, language=language, reason=reason)
            if content_of(unit.session, hand, sheet) != content:
                raise _OvertakenError
            return sheet
    raise conflict()


class _OvertakenError(Exception):
    """What stands on the sheet changed while it was set: nothing is stored."""


@dataclass(frozen=True)
class _Printed:
    """How a sheet is printed, and how its visits stand then."""

    language: str
    options: SheetOptions
    visits: NotedVisits


def _printed(session: Session, version: PlanVersion, chosen: SheetChoices, language: str | None) -> _Printed:
    """What is not chosen is as for the patient's last sheet."""
    record = record_of(session, version).record
    look = next_look(session, record, version.patient_id)
    spoken = sheet_language(record, language or look.language).language.tag
    return _Printed(spoken, chosen.over(look.options), _now_of(session, version.id))


def note_sheet(
    unit: Unit,
    version: PlanVersion,
    sheet_id: str,
    chosen: SheetChoices = NOTHING_CHOSEN,
    *,
    language: str | None = None,
    reason: str = "",
) -> SheetView:
    """Store that the plan's sheet goes out under this id, how it is printed and how its visits stand.

    What is not chosen is as for the patient's last sheet. Errors: those of ``issue_sheet``.
    """
    printed = _printed(unit.session, version, chosen, language)
    return issue_sheet(
        unit,
        plan_id=version.id,
        sheet_id=sheet_id,
        language=printed.language,
        reason=reason,
        options=as_printed(asdict(printed.options), printed.visits),
    )


def staff_language(hand: Hand) -> str:
    """The tag of the staff's language where sheets have words in it, else of English."""
    return choose(hand.language).language.tag


def content_of(
    session: Session, hand: Hand, sheet: SheetView, options: SheetOptions | None = None
) -> SheetContent:
    """What stands on an issued sheet. The same sheet gives the same content on any day."""
    given = options or printed_options(session, sheet.id)
    return _content(session, hand, sheet, given, sheet_visits(session, sheet.id))


def _content(
    session: Session, hand: Hand, sheet: SheetView, options: SheetOptions, visits: NotedVisits
) -> SheetContent:
    version = plan(session, sheet.plan_id)
    record = record_of(session, version).record
    before = _sheet_before(session, sheet)
    issue = SheetIssue(
        code_grouped=typed_code(sheet.id),
        qr_payload=qr_payload(sheet.id, hand.keyring, hand.clinic.code),
        number=str(sheet.issue),
        printed_on=sheet.printed_at.astimezone(hand.zone).date(),
        replaces=(str(before.issue), before.printed_at.astimezone(hand.zone).date()) if before else None,
        signed_by=version.signed_by,
    )
    return build_content(
        _with_visits(version.body, visits),
        record,
        hand.protocol.formulary,
        clinic_info(hand),
        language=sheet.language,
        issue=issue,
        printed_on=issue.printed_on,
        aftercare=hand.protocol.aftercare,
        options=options,
        previous=_with_visits(plan(session, before.plan_id).body, sheet_visits(session, before.id))
        if before
        else None,
        earlier=plans_printed(session, sheet.patient_id, before=sheet.issue),
    )


def plans_printed(session: Session, patient_id: int, *, before: int | None = None) -> tuple[CarePlan, ...]:
    """The plans of the patient's sheets, oldest first; only of those before the sheet of this number."""
    sheets = (s for s in sheets_of(session, patient_id) if before is None or s.issue < before)
    return tuple(plan(session, key).body for key in dict.fromkeys(s.plan_id for s in sheets))


def plan_now(session: Session, version: PlanVersion) -> CarePlan:
    """A plan with its visits as they stand while it is in force; any other as it was made."""
    return (
        _with_visits(version.body, _now_of(session, version.id))
        if version.status == "active"
        else version.body
    )


def _now_of(session: Session, plan_id: int) -> NotedVisits:
    """How the visits of a signed plan stand: reception may have moved them or given them an hour."""
    return {
        trip.number: NotedVisit(day=trip.day, hour=trip.hour, status=trip.status)
        for trip in trips_of_plan(session, plan_id)
    }


def _with_visits(body: CarePlan, noted: NotedVisits) -> CarePlan:
    """The plan with its visits as they stood; one of which nothing is noted stays as it was planned."""
    trips = [_as_noted(trip, noted.get(trip.number)) for trip in body.trips]
    return body.model_copy(update={"trips": tuple(trips)})


def _as_noted(planned: Trip, noted: NotedVisit | None) -> Trip:
    if noted is None:
        return planned
    return planned.model_copy(update={"date": noted.day, "hour": noted.hour, "status": noted.status})


def clinic_info(hand: Hand) -> ClinicInfo:
    """The clinic as it stands on a sheet."""
    clinic = hand.clinic
    return ClinicInfo(
        name=clinic.name,
        code=clinic.code,
        telephone_day=clinic.phone_day,
        telephone_night=clinic.phone_night,
        nearest_eye_clinic=clinic.nearest_eye_clinic or None,
        time_zone=clinic.zone,
        sample=clinic.is_sample,
        cap_colours=clinic.cap_colours,
        address=clinic.address or None,
    )


def _sheet_before(session: Session, sheet: SheetView) -> SheetView | None:
    """The sheet that the patient has until this one: the last handed over before it was printed."""
    earlier = [
        other
        for other in sheets_of(session, sheet.patient_id)
        if other.issue < sheet.issue and other.handed_over_at and other.handed_over_at <= sheet.printed_at
    ]
    return earlier[-1] if earlier else None


def printed_options(session: Session, sheet_id: str) -> SheetOptions:
    """How an issued sheet was printed."""
    kept: Any = sheet_options(session, sheet_id)
    # The first sheets were stored without their options: all had the days to tick.
    return SheetOptions(**{"calendar": True, **kept})


def found_sheet(hand: Hand, sheet_id: str) -> FoundSheet:
    """The sheet, whose it is, and whether it is in force. Error: ``sheet.unknown``."""
    with hand.store.read() as session:
        found = find_sheet(session, sheet_id)
        gone = erased_sheet(session, sheet_id) if found is None else None
    if gone is not None:
        raise FollowupError(
            "sheet.unknown",
            say("the patient of this sheet asked to be erased; nothing is kept any more"),
            fix=say("enter whoever holds it as somebody new"),
        )
    if found is None:
        raise FollowupError(
            "sheet.unknown", say("no such sheet was issued here"), fix=say("search by name instead")
        )
    return found


def bottles_with(hand: Hand, sheet: SheetView, version: PlanVersion) -> list[Bottle]:
    """The bottles that go out with a sheet: those in use on the day it was printed."""
    day = sheet.printed_at.astimezone(hand.zone).date()
    return [bottle for bottle in version.body.supply if bottle.handed_over <= day <= bottle.discard]
