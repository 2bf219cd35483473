"""The messages that a day asks for. Asked again before sending: what is no longer wanted is left out."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cache, partial
from zoneinfo import ZoneInfo

from followup.clinical.careplan import Course
from followup.clinical.protocol.protocol import Protocol
from followup.errors import FollowupError
from followup.language.catalogues import Translator, choose, translator
from followup.recall.messages.compose import changes_on, message_text, step_changes
from followup.recall.messages.segments import segments
from followup.recall.messages.wording import MessageKind
from followup.recall.reach.lateness import day_begins
from followup.recall.reach.worklist import worklist
from followup.records.channels import Channel
from followup.records.desk.attempts import standings
from followup.records.house.clinics import clinic_zone, get_clinic
from followup.records.people.messages import MessageChoice, message_choices
from followup.records.people.patients import patients_by_id
from followup.records.plans.listed import plans_handed_over
from followup.records.store.sites import sites_of
from followup.records.store.store import Session
from followup.records.trips.closed import offered
from followup.records.trips.places import clinic_calendar
from followup.records.trips.trips import day_trips
from followup.records.views import Clinic, PatientView

_log = logging.getLogger(__name__)
_NOT_ASKED = MessageChoice(0, consent=False, reader="patient", channel="paper", address="", stopped_at=None)


@dataclass(frozen=True)
class WantedMessage:
    """A message that a day asks for. On ``paper`` it is a line of the call list, read out by a person."""

    key: str
    patient: PatientView
    kind: MessageKind
    day: date
    last_useful: date
    language: str
    choice: MessageChoice
    text: str

    @property
    def channel(self) -> Channel:
        """Paper where the patient has not agreed to another way, or has stopped it."""
        return _channel(self.choice)

    @property
    def segments(self) -> int:
        return segments(self.text).count


@dataclass(frozen=True)
class _Cause:
    """Why a message is wanted, before it is written."""

    key: str
    patient_id: int
    last_useful: date
    names: date
    changing: tuple[Course, ...] = ()
    hour: str | None = None


def _channel(choice: MessageChoice) -> Channel:
    return choice.channel if choice.wants_messages else "paper"


def wanted(session: Session, kind: MessageKind, day: date, protocol: Protocol) -> tuple[WantedMessage, ...]:
    """The messages of this kind that go out on ``day``; those of patients not followed are left out."""
    causes = tuple(_causes(session, kind, day, protocol))
    asked = {cause.patient_id for cause in causes}
    people, gone = patients_by_id(session, asked), standings(session, asked)
    choices, sites = message_choices(session, asked), sites_of(session, asked)
    clinics, words_for = cache(partial(get_clinic, session)), cache(_words_for)
    found = []
    for cause in causes:
        if cause.patient_id in gone or cause.patient_id not in people:
            continue
        choice = choices.get(cause.patient_id, _NOT_ASKED)
        try:
            clinic = clinics(sites.get(cause.patient_id))
            patient = people[cause.patient_id]
            words = words_for(patient.language)
            found.append(_written(clinic, kind, day, cause, patient, choice, protocol, words))
        except FollowupError as error:
            # One message that can't be written must not keep back the others.
            _log.error("no %s for patient %s: %s", kind, people[cause.patient_id].code, error.code)
    return tuple(found)


def may_go_out(now: datetime, zone: ZoneInfo, protocol: Protocol) -> bool:
    """Whether ``now`` lies outside the quiet hours."""
    rules = protocol.recall.messages
    return rules.quiet_until <= f"{now.astimezone(zone):%H:%M}" < rules.quiet_from


def earliest_try(now: datetime, zone: ZoneInfo, protocol: Protocol) -> datetime:
    """``now``, or the end of the quiet hours that it lies in."""
    if may_go_out(now, zone, protocol):
        return now
    rules, local = protocol.recall.messages, now.astimezone(zone)
    day = local.date() + timedelta(days=f"{local:%H:%M}" >= rules.quiet_from)
    wall = time.fromisoformat(rules.quiet_until)
    # Never before the local day, also where the clocks jump over its first hours.
    return max(datetime.combine(day, wall, zone), day_begins(day, zone).astimezone(zone))


def _causes(session: Session, kind: MessageKind, day: date, protocol: Protocol) -> Iterator[_Cause]:
    rules = protocol.recall.messages
    if kind == "reminder":
        calendars = cache(partial(clinic_calendar, session))
        visits = day_trips(session, day + timedelta(days=rules.reminder_days))
        sites = sites_of(session, {visit.patient_id for visit in visits})
        for visit in visits:
            calendar = calendars(sites.get(visit.patient_id))
            # Nobody is sent to a closed door: reception moves such a visit and tells the patient. A visit
            # at another place is told on paper alone, which says where.
            here = visit.given and visit.place is None
            open_door = here or (not visit.given and offered(calendar, visit.day, visit.services))
            if visit.status in ("proposed", "booked") and open_door:
                key = f"r-{visit.id}-{visit.day}"
                yield _Cause(key, visit.patient_id, visit.day, visit.day, hour=visit.hour)
    elif kind == "step change":
        tomorrow = day + timedelta(days=1)
        for plan in plans_handed_over(session):
            changing = tuple(course for course in plan.gist.courses if changes_on(course, tomorrow))
            if changing:
                yield _Cause(f"s-{plan.id}-{tomorrow}", plan.patient_id, tomorrow, tomorrow, changing)
    else:
        noon = datetime.combine(day, time(12), clinic_zone(session))
        for line in worklist(session, noon):
            last = line.since + timedelta(days=rules.missed_for_days)
            if line.kind == "overdue" and line.trip_id is not None and day <= last and not line.tried:
                yield _Cause(f"m-{line.trip_id}-{line.since}", line.patient.id, last, line.since)


def _words_for(tag: str | None) -> Translator:
    """The words of a patient's language, or English where there are none."""
    return translator(choose(tag).language.tag)


def _written(
    clinic: Clinic,
    kind: MessageKind,
    day: date,
    cause: _Cause,
    patient: PatientView,
    choice: MessageChoice,
    protocol: Protocol,
    words: Translator,
) -> WantedMessage:
    lines = step_changes(cause.changing, cause.names, protocol.formulary, words)
    spoken = _channel(choice) == "paper"
    text = message_text(
        kind, choice.reader, clinic, cause.names, words, lines, hour=cause.hour, spoken=spoken
    )
    return WantedMessage(cause.key, patient, kind, day, cause.last_useful, words.language.tag, choice, text)
