"""Files for calendars: a patient's visits and changes of drops, and the visits of a day for the desk."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import date, datetime

from followup.care.hand import Hand
from followup.care.trips.trip_lines import TripLine, visit_lines
from followup.clinical.english import joined
from followup.clinical.statuses import NOT_COMING
from followup.errors import FollowupError
from followup.exchange.agenda.events import AgendaEvent, calendar_file
from followup.exchange.agenda.revisions import READ, ToldPlan, changes_of_drops, revision_of
from followup.exchange.agenda.same_visit import VisitThroughPlans, through_plans
from followup.exchange.agenda.wording import DROPS, VISIT, address, said
from followup.language.catalogues import Translator, choose, translator
from followup.recall.codes.codes import typed_code
from followup.recall.messages.wording import Reader
from followup.records.desk.attempts import standing_word
from followup.records.people.messages import message_choice
from followup.records.people.patients import known
from followup.records.plans.plans import active_plan, plans_of
from followup.records.plans.sheets import sheets_of
from followup.records.store.journal import JournalEntry, journal_of_several
from followup.records.store.store import Session
from followup.records.trips.trips import day_trips, trips_of, trips_of_all
from followup.records.views import PatientView, SheetView, TripView
from followup.said import say


def patient_agenda(hand: Hand, code: str) -> bytes:
    """The patient's visits from today on and the days on which drops change, in the patient's language.

    Errors: ``patient.unknown``; ``agenda.gone`` for whoever is not followed any more: nobody writes to them.
    """
    with hand.store.read() as session:
        who = known(session, code)
        if standing_word(session, who.id) != "followed":
            raise FollowupError(
                "agenda.gone",
                say("this patient is not followed any more"),
                fix=say("take the patient up again"),
            )
        events = [*_visits(session, hand, who), *_drops(session, hand, who)]
    return calendar_file(events, name=hand.clinic.name, zone=hand.clinic.zone)


def _visits(session: Session, hand: Hand, who: PatientView) -> Iterator[AgendaEvent]:
    words, reader = _words(who), _reader(session, who)
    entries = _entries(session, [who])[who.code]
    code = _code(session, who)
    for visit in through_plans(trips_of(session, who.id)):
        trip = visit.now
        if trip.day < hand.today:
            continue
        cancelled = trip.status in NOT_COMING
        text = said("reminder", reader, hand.clinic, trip.day, words, hour=trip.hour, code=code)
        yield _event(
            hand, visit, entries, words.gettext(VISIT), "" if cancelled else text, cancelled=cancelled
        )


def _event(
    hand: Hand,
    visit: VisitThroughPlans,
    entries: tuple[JournalEntry, ...],
    summary: str,
    description: str,
    *,
    cancelled: bool = False,
    kind: str = "visit",
) -> AgendaEvent:
    trip, revision = visit.now, revision_of(visit, entries)
    return AgendaEvent(
        uid=f"{kind}-{visit.root}.{hand.clinic.code}",
        sequence=revision.sequence,
        stamp=revision.at,
        day=trip.day,
        summary=summary,
        description=description,
        place=address(hand.clinic, trip.place),
        hour=trip.hour,
        opens=(trip.opens, trip.closes) if trip.opens and trip.closes else None,
        cancelled=cancelled,
    )


def _drops(session: Session, hand: Hand, who: PatientView) -> Iterator[AgendaEvent]:
    words, reader = _words(who), _reader(session, who)
    sheets = sheets_of(session, who.id)
    told = [
        ToldPlan(version.body, version.signed_at, _handed(sheets, version.id), version.ended_at)
        for version in reversed(plans_of(session, who.id))
        if version.signed_at is not None
    ]
    for change in changes_of_drops(told):
        if change.day >= hand.today:
            text = said("step change", reader, hand.clinic, change.day, words)
            yield AgendaEvent(
                uid=f"drops-{who.id}-{change.day:%Y%m%d}.{hand.clinic.code}",
                sequence=change.revision.sequence,
                stamp=change.revision.at,
                day=change.day,
                summary=words.gettext(DROPS),
                description=text if change.stands else "",
                cancelled=not change.stands,
            )


def _handed(sheets: Iterable[SheetView], plan_id: int) -> datetime | None:
    """When the first sheet of the plan was in the patient's hands."""
    moments = [s.handed_over_at for s in sheets if s.plan_id == plan_id and s.handed_over_at is not None]
    return min(moments, default=None)


def _code(session: Session, who: PatientView) -> str:
    """The return code of the newest sheet of the plan in force; empty where none is printed."""
    plan = active_plan(session, who.id)
    sheets = [s for s in sheets_of(session, who.id) if plan is not None and s.plan_id == plan.id]
    return typed_code(max(sheets, key=lambda sheet: sheet.issue).id) if sheets else ""


def _words(who: PatientView) -> Translator:
    return translator(choose(who.language).language.tag)


def _reader(session: Session, who: PatientView) -> Reader:
    """Whoever messages are written to; the patient where nobody was asked."""
    choice = message_choice(session, who.id)
    return choice.reader if choice else "patient"


def day_agenda(hand: Hand, day: date, told: Callable[[str], str] = str) -> bytes:
    """The visits of ``day`` with their patients, for the desk; ``told`` puts a text into its language."""
    with hand.store.read() as session:
        lines = visit_lines(session, hand, day_trips(session, day))
        people = {line.who.id: line.who for line in lines}
        entries = _entries(session, people.values())
        visits = _through(trips_of_all(session, people))
    events = [
        _event(
            hand,
            visits[line.trip.id],
            entries[line.who.code],
            line.who.name,
            _for_what(line, told),
            kind="day",
        )
        for line in lines
        if line.trip.id in visits
    ]
    return calendar_file(events, name=hand.clinic.name, zone=hand.clinic.zone)


def _through(trips: dict[int, tuple[TripView, ...]]) -> dict[int, VisitThroughPlans]:
    """Each visit as it stands now, by its number."""
    return {visit.now.id: visit for own in trips.values() for visit in through_plans(own)}


def _for_what(line: TripLine, told: Callable[[str], str]) -> str:
    """Code, then what is looked at, a line each."""
    looks = (
        joined((reason.text, say("{eye} eye", eye=reason.eye)), ", ") if reason.eye else reason.text
        for reason in line.reasons
    )
    return "\n".join((line.who.code, *(told(look) for look in looks)))


def _entries(session: Session, people: Iterable[PatientView]) -> dict[str, tuple[JournalEntry, ...]]:
    """By code what the journal tells of the visits of these patients."""
    codes = {f"patient:{who.code}": who.code for who in people}
    found = journal_of_several(session, list(codes), READ)
    return {code: found[subject] for subject, code in codes.items()}
