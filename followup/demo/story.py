"""Six weeks at the sample clinic, day by day: operations, plans, sheets, visits kept and missed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from itertools import groupby
from random import Random
from typing import Any, Literal, NamedTuple, get_args
from zoneinfo import ZoneInfo

from followup.care.hand import Hand, hand_for
from followup.care.plans.planning import draft_plan
from followup.care.sheets.content import note_sheet
from followup.clinical.english import day_words
from followup.clinical.record import Eye, parse_record
from followup.clinical.statuses import TO_COME
from followup.demo.cast import CastMember
from followup.demo.clinic import TIME_ZONE, is_open
from followup.demo.looks import ToldLook, draft_taken, enter_look, quiet, told_look
from followup.desks.door.hand import Desk
from followup.recall.codes.codes import new_sheet_id
from followup.recall.jobs.pharmacy import hand_outs
from followup.recall.reach.worklist import worklist
from followup.records.desk.alerts import close_alert, open_alerts
from followup.records.desk.attempts import note_attempt
from followup.records.desk.handing import GivenBottle, note_given
from followup.records.desk.trip_steps import book_trip, mark_arrived, mark_fulfilled, mark_noshow
from followup.records.desk.walkins import note_walk_in
from followup.records.house.staff import all_staff
from followup.records.people.oplist import ListLine, put_operation_list
from followup.records.people.patients import (
    correct_record,
    enter_record,
    newest_record,
    patient_by_code,
    surgeons_words,
)
from followup.records.plans.plans import active_plan, open_draft, sign_plan
from followup.records.plans.sheets import hand_over_sheet, sheets_of
from followup.records.store.store import Session, Unit
from followup.records.trips.trips import day_trips, trips_of
from followup.records.trips.trips import trip as a_trip
from followup.records.views import Actor, TripView

STAGES = ("entered", "drafted", "signed", "printed", "handed over")
AGAIN = "Planned again after a missed visit."
GIVEN_FOR = timedelta(days=8)
CALLED_FOR = timedelta(days=10)
"""How long reception has gone through the list of those to reach by telephone."""


How = Literal["paper", "telephone"]


class Event(NamedTuple):
    """Something that ``login`` does at a time of the day."""

    at: str
    login: str
    act: Callable[[Unit], object]


class Story:
    """Tells the clinic's weeks to its store. Nothing is ever dated after ``now``."""

    def __init__(
        self, desk: Desk, rng: Random, now: datetime, say: Callable[[str], None] = lambda _line: None
    ) -> None:
        self.rng = rng
        self.say = say
        self.somebody_here = False
        self.now = now
        self.hand = hand_for(desk.store, desk.protocol, desk.keyring, now=now)
        self.zone = ZoneInfo(TIME_ZONE)
        self.today = now.astimezone(self.zone).date()
        self.before_surgeon: set[str] = set()
        with desk.store.read() as session:
            self.staff: Mapping[str, Actor] = {staff.login: staff.actor for staff in all_staff(session)}

    def tell(self, people: Iterable[CastMember], lists: Mapping[date, list[tuple[str, str, Eye]]]) -> None:
        """Live every day from the first operation until today, and on that day the ``lists`` to come."""
        cast = tuple(people)
        first = day = min(person.operated for person in cast)
        weeks = (self.today - first).days // 7 + 1
        while day <= self.today:
            if (day - first).days % 7 == 0:
                self.say(f"Living week {(day - first).days // 7 + 1} of {weeks}, from {day_words(day)}")
            operated = [person for person in cast if person.operated == day]
            listed = {day: [(p.record.patient.code, p.record.patient.name, p.eye) for p in operated]}
            if day == self.today:
                listed |= lists
            events = [event for ahead, lines in listed.items() for event in self._list(ahead, lines)]
            events += self._visits({person.record.patient.code: person for person in cast}, day)
            for person in operated:
                events += self._operation(person)
            if day == self.today:
                events += self._in_danger(cast)
            if day > self.today - CALLED_FOR and is_open(day, self.today):
                absent = {p.record.patient.code for p in cast if not (p.comes(99) or p.telephone_dead)}
                events.append(Event("08:50", "reception", partial(self._call, codes=absent, day=day)))
            if self.today - GIVEN_FOR < day < self.today:
                events.append(Event("16:00", "pharmacy", partial(self._give, day=day)))
            for person in cast:
                if person.telephone_dead and person.operated < day:
                    events += self._tries(person.record.patient.code, day)
            self._live(day, events)
            day += timedelta(days=1)

    def _live(self, day: date, events: Iterable[Event]) -> None:
        """Let the day's events happen in the order of the clock."""
        for at, login, act in sorted(events, key=lambda event: event.at):
            moment = datetime.combine(day, time.fromisoformat(at), self.zone).astimezone(UTC)
            with self.hand.store.write(self.staff[login], min(moment, self.now)) as unit:
                act(unit)

    def _list(self, day: date, lines: Iterable[tuple[str, str, Eye]]) -> Iterator[Event]:
        chosen = [ListLine(code, name, eye) for code, name, eye in lines]
        if chosen:
            yield Event("07:00", "counsellor", partial(put_operation_list, day=day, lines=chosen))

    def _operation(self, person: CastMember) -> Iterator[Event]:
        code, stage = person.record.patient.code, STAGES.index(person.stops_at)
        # What only a surgeon decides, a surgeon enters.
        by = "surgeon" if surgeons_words(person.record) else "counsellor"
        yield Event("13:00", by, partial(enter_record, record=person.record))
        if stage >= STAGES.index("drafted"):
            yield Event("13:10", "counsellor", lambda unit: self._draft(unit, code))
        if person.answers:
            yield Event("14:30", "surgeon", lambda unit: self._answer(unit, code, person.answers))
        if stage >= STAGES.index("signed"):
            yield Event("15:00", "surgeon", lambda unit: self._sign(unit, code))
        if stage >= STAGES.index("printed"):
            handed_to = "patient" if stage >= STAGES.index("handed over") else ""
            yield from self._sheet("15:30", code, to=handed_to)

    def _visits(self, cast: Mapping[str, CastMember], day: date) -> Iterator[Event]:
        """What becomes of the visits that were due yesterday and are due today."""
        with self.hand.store.read() as session:
            missed = [t for t in day_trips(session, day - timedelta(days=1)) if t.status in TO_COME]
            due = [t for t in day_trips(session, day) if t.status in TO_COME]
            numbers = {trip.id: _number(session, trip) for trip in due}
        for trip in missed:
            person = cast[trip.patient_code]
            if person.told_no_show:
                yield Event("08:10", "reception", partial(mark_noshow, trip_id=trip.id))
                if person.comes(99):
                    yield from self._again("08:20", trip.patient_code, how="telephone")
                    yield from self._comes_at_once(person, day)
        for trip in due:
            if cast[trip.patient_code].comes(numbers[trip.id]):
                yield from self._comes(cast[trip.patient_code], trip, numbers[trip.id], day)
        expected_today = {trip.patient_code for trip in due}
        for person in cast.values():
            if person.record.patient.code not in expected_today:
                yield from self._unasked(person, day)

    def _tries(self, code: str, day: date) -> Iterator[Event]:
        """Reception tries every way the ladder asks for and reaches nobody; the surgeon has the last word."""
        for minute in range(0 if code in self.before_surgeon else 5):
            yield Event(f"08:4{minute}", "reception", partial(self._try, code=code, day=day, minute=minute))

    def _call(self, unit: Unit, codes: set[str], day: date) -> None:
        """Reception goes once through those who stay away; nobody answers."""
        for line in worklist(unit.session, unit.now, self.hand.protocol.recall):
            following = line.next
            if (
                line.patient.code in codes
                and following
                and following.on <= day
                and following.way != "surgeon"
            ):
                note_attempt(
                    unit,
                    patient_id=line.patient.id,
                    rung=following.rung,
                    way=following.way,
                    outcome="no answer",
                    nonce=f"demo-call-{day}-{line.patient.code}",
                )

    def _in_danger(self, cast: Iterable[CastMember]) -> Iterator[Event]:
        """Somebody who was operated a week ago or more comes this morning, with pain and less sight."""
        ago = self.today - timedelta(days=7)
        usual = (p for p in cast if p.comes(99) and p.operated <= ago and not p.looks)
        for person in sorted(usual, key=lambda p: (-p.operated.toordinal(), p.record.patient.code))[:1]:
            code = person.record.patient.code
            yield Event("08:35", "reception", partial(self._walks_in, code=code))

    def _walks_in(self, unit: Unit, code: str) -> None:
        who = _patient(unit, code)
        here = [trip for trip in trips_of(unit.session, who) if trip.status == "arrived"]
        if not here:
            note_walk_in(
                unit,
                patient_id=who,
                reason="The eye hurts and sees less since yesterday.",
                nonce=f"demo-now-{code}",
                signs=["sight falls", "pain"],
            )

    def _give(self, unit: Unit, day: date) -> None:
        """The pharmacy marks what went home that day."""
        for _, found in groupby(hand_outs(unit.session, day, day), key=lambda one: one.patient.id):
            given = tuple(found)
            note_given(
                unit,
                patient_id=given[0].patient.id,
                plan_id=given[0].plan_id,
                bottles=[
                    GivenBottle(one.course.key, one.course.medicine, one.course.eye, one.bottle.number)
                    for one in given
                ],
            )

    def _try(self, unit: Unit, code: str, day: date, minute: int) -> None:
        rules = self.hand.protocol.recall
        lines = [line for line in worklist(unit.session, unit.now, rules) if line.patient.code == code]
        following = lines[0].next if lines else None
        if following is not None and following.way == "surgeon":
            self.before_surgeon.add(code)
        if following is None or following.on > day or following.way == "surgeon":
            return
        note_attempt(
            unit,
            patient_id=lines[0].patient.id,
            rung=following.rung,
            way=following.way,
            outcome="wrong number" if following.way == "call" else "no answer",
            nonce=f"demo-{day}-{minute}",
        )

    def _comes(self, person: CastMember, trip: TripView, number: int, day: date) -> Iterator[Event]:
        """Today is still open: somebody, and a third of the others, have arrived; nobody is seen yet."""
        code = person.record.patient.code
        if day < self.today or self.rng.random() < 1 / 3 or not self.somebody_here:
            self.somebody_here = day == self.today
            nonce = f"demo-{trip.id}"
            at = f"08:{self.rng.randint(12, 58)}"
            yield Event(at, "reception", partial(mark_arrived, trip_id=trip.id, nonce=nonce))
        if day == self.today:
            return
        told = self._told(person, day)
        yield from self._seen(person, day, lambda unit: trip.id, trip.serves, told)
        yield Event("10:35", "reception", lambda unit: self._book_next(unit, code, day))
        if self._absent(code, day) and day < self.today - timedelta(days=1):
            yield Event("10:40", "reception", lambda unit: self._mark_absent(unit, code, day))
            yield from self._again("11:00", code, how="paper")
        if person.sheet_lost_after == number:
            yield from self._sheet("10:45", code, to="daughter", reason="the sheet was lost at home")

    def _comes_at_once(self, person: CastMember, day: date) -> Iterator[Event]:
        """Who was called in the morning comes on the same day, where the new plan has a visit on it."""
        code = person.record.patient.code

        def arrive(unit: Unit) -> None:
            for trip in self._expected(unit, code, day):
                mark_arrived(unit, trip_id=trip.id, nonce=f"demo-{trip.id}")

        def seen(unit: Unit) -> None:
            if self._expected(unit, code, day, "arrived"):
                found = quiet(self.rng, (day - person.operated).days)
                self._look(unit, code, person.eye, found)

        def leave(unit: Unit) -> None:
            for trip in self._expected(unit, code, day, "arrived"):
                self._close(unit, trip.id)

        if day < self.today:
            yield Event("10:05", "reception", arrive)
            yield Event("10:20", "surgeon", seen)
            yield Event("10:30", "counsellor", leave)

    def _expected(self, unit: Unit, code: str, day: date, *statuses: str) -> list[TripView]:
        wanted = statuses or TO_COME
        return [
            t for t in trips_of(unit.session, _patient(unit, code)) if t.day == day and t.status in wanted
        ]

    def _absent(self, code: str, day: date) -> list[TripView]:
        """The visits before ``day`` to which the patient did not come and of which nobody has spoken."""
        with self.hand.store.read() as session:
            found = patient_by_code(session, code)
            trips = trips_of(session, found.id) if found else ()
        return [trip for trip in trips if trip.status in TO_COME and trip.day < day]

    def _mark_absent(self, unit: Unit, code: str, day: date) -> None:
        for trip in trips_of(unit.session, _patient(unit, code)):
            if trip.status in TO_COME and trip.day < day:
                mark_noshow(unit, trip_id=trip.id)

    def _again(self, at: str, code: str, *, how: How) -> Iterator[Event]:
        """A missed visit is made up for: a new plan, its sheet handed over or read out by telephone."""
        yield Event(at, "surgeon", lambda unit: self._draft(unit, code))
        yield Event(f"{at[:3]}25", "surgeon", lambda unit: self._sign(unit, code, AGAIN))
        yield from self._sheet(f"{at[:3]}30", code, to="patient", reason=AGAIN, newer=True, how=how)

    def _unasked(self, person: CastMember, day: date) -> Iterator[Event]:
        """Whoever is told to come without a visit, on the first open day from the told one on."""
        for look in person.looks:
            told = person.operated + timedelta(days=look.day)
            while not is_open(told, self.today):
                told += timedelta(days=1)
            if not look.unasked or told != day or day == self.today:
                continue
            code, nonce = person.record.patient.code, f"demo-unasked-{person.record.patient.code}-{day}"

            def note(unit: Unit, code: str = code, look: ToldLook = look, nonce: str = nonce) -> int:
                who = _patient(unit, code)
                return note_walk_in(unit, patient_id=who, reason=look.unasked, nonce=nonce).id

            yield Event("09:40", "reception", note)
            # The same nonce again finds the same visit.
            yield from self._seen(person, day, note, (), look)

    def _told(self, person: CastMember, day: date) -> ToldLook | None:
        """The told look for the visit of ``day``, if there is one."""
        with self.hand.store.read() as session:
            found = patient_by_code(session, person.record.patient.code)
            seen_on = [trip.seen_on for trip in trips_of(session, found.id)] if found else []
        before = [(seen - person.operated).days for seen in seen_on if seen and seen < day]
        return told_look(person.looks, (day - person.operated).days, before)

    def _seen(
        self,
        person: CastMember,
        day: date,
        trip: Callable[[Unit], int],
        serves: Iterable[str],
        told: ToldLook | None,
    ) -> Iterator[Event]:
        """The surgeon looks, the visit is closed; where the surgeon acts, a new plan and sheet follow."""
        code, after = person.record.patient.code, (day - person.operated).days
        named = {key.split(":")[0] for key in serves}
        eyes = [eye for eye in get_args(Eye) if eye in named] or [person.eye]
        for eye in eyes:
            seen = quiet(self.rng, after) | (dict(told.found) if told and eye == person.eye else {})
            yield Event("10:20", "surgeon", partial(self._look, code=code, eye=eye, found=seen))
        yield Event("10:30", "counsellor", lambda unit: self._close(unit, trip(unit)))
        if told and told.takes:
            yield Event("11:00", "surgeon", lambda unit: self._act(unit, code, person.eye, told))
            to = "patient" if told.handed_over else ""
            yield from self._sheet("11:15", code, to=to, reason=told.reason, newer=True)

    def _close(self, unit: Unit, trip_id: int) -> None:
        """What findings have not closed is said one by one; what stood open of an eye is answered.

        What was found in the last days still stands open today.
        """
        _close_rest(unit, trip_id)
        found = a_trip(unit.session, trip_id)
        if _day(unit, self.zone) < self.today - timedelta(days=6):
            for alert in open_alerts(unit.session, [found.patient_id]):
                close_alert(
                    unit, patient_id=found.patient_id, alert_id=alert.id, word="seen by the surgeon, treated"
                )

    def _look(self, unit: Unit, code: str, eye: Eye, found: Mapping[str, Any]) -> None:
        enter_look(unit, _patient(unit, code), eye, self._hand(unit), found)

    def _act(self, unit: Unit, code: str, eye: Eye, told: ToldLook) -> None:
        """The surgeon takes proposals of today's look and signs what they make of the plan."""
        if draft_taken(unit, _patient(unit, code), eye, self._hand(unit), told):
            self._sign(unit, code, told.reason)

    def _hand(self, unit: Unit) -> Hand:
        return replace(self.hand, now=unit.now)

    def _draft(self, unit: Unit, code: str) -> None:
        draft_plan(unit, self._hand(unit), _patient(unit, code))

    def _answer(self, unit: Unit, code: str, answers: Mapping[str, Any]) -> None:
        """The surgeon answers the open questions; the plan is built again."""
        known = newest_record(unit.session, _patient(unit, code))
        answered = answered_record(known.record.model_dump(mode="json", exclude_none=True), answers)
        record = parse_record(answered, code)
        correct_record(unit, patient_id=known.patient_id, record=record, seen=known.number)
        self._draft(unit, code)

    def _sign(self, unit: Unit, code: str, reason: str = "") -> None:
        """Sign the draft, unless something keeps it open."""
        draft = open_draft(unit.session, _patient(unit, code))
        if draft is not None and draft.body.signable:
            sign_plan(unit, plan_id=draft.id, reason=reason)

    def _sheet(
        self, at: str, code: str, *, to: str, reason: str = "", newer: bool = False, how: How = "paper"
    ) -> Iterator[Event]:
        """Print the sheet of the plan in force; ``to``: who takes it home, if anyone does.

        ``newer``: only where that plan has no sheet yet.
        """
        yield Event(at, "counsellor", lambda unit: self._print(unit, code, to, reason, newer, how))
        if to:
            yield Event(at, "reception", lambda unit: self._book_next(unit, code, _day(unit, self.zone)))

    def _print(self, unit: Unit, code: str, to: str, reason: str, newer: bool, how: How) -> None:
        patient = _patient(unit, code)
        plan = active_plan(unit.session, patient)
        if plan is None:
            return
        if newer and any(sheet.plan_id == plan.id for sheet in sheets_of(unit.session, patient)):
            return
        sheet_id = new_sheet_id(self.rng.getrandbits)
        note_sheet(unit, plan, sheet_id, reason=reason)
        if to:
            hand_over_sheet(unit, sheet_id=sheet_id, to=to, how=how)

    def _book_next(self, unit: Unit, code: str, day: date) -> None:
        """Reception promises the next visit, so that its places are taken."""
        trips = trips_of(unit.session, _patient(unit, code))
        upcoming = [trip for trip in trips if trip.status == "proposed" and trip.day > day]
        if upcoming:
            book_trip(unit, trip_id=upcoming[0].id)


def _close_rest(unit: Unit, trip_id: int) -> None:
    """The counsellor closes what the findings have left open."""
    if a_trip(unit.session, trip_id).status == "arrived":
        mark_fulfilled(unit, trip_id=trip_id)


def answered_record(data: dict[str, Any], answers: Mapping[str, Any]) -> dict[str, Any]:
    """``data`` with each dotted field of ``answers`` set, such as "operations.0.choices.nsaid"."""
    for name, value in answers.items():
        place: Any = data
        *way, last = name.split(".")
        for part in way:
            place = place[int(part)] if isinstance(place, list) else place.setdefault(part, {})
        place[last] = value
    return data


def _patient(unit: Unit, code: str) -> int:
    found = patient_by_code(unit.session, code)
    assert found is not None
    return found.id


def _number(session: Session, trip: TripView) -> int:
    """Which of the patient's visits it is, counted from 1 over all versions of the plan."""
    kept = [other.id for other in trips_of(session, trip.patient_id) if other.status != "cancelled"]
    return kept.index(trip.id) + 1


def _day(unit: Unit, zone: ZoneInfo) -> date:
    return unit.now.astimezone(zone).date()
