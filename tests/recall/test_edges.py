"""Who is due, late, overdue or waiting: just before, at and after the clinic's own midnight."""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from clinic_days import IDS, TURNS, Turn, local

from followup.language.catalogues import translator
from followup.recall.jobs import daily
from followup.recall.jobs.daily import JOBS, Job, run_due
from followup.recall.jobs.lists import due_lines, reach_lines
from followup.recall.jobs.sweep import JOURNAL_CHECK, sweep
from followup.recall.messages.clock import JUMP, note_clock, why_messages_wait
from followup.recall.reach.lateness import day_begins
from followup.recall.reach.worklist import worklist
from followup.records.desk.leaving import mark_left
from followup.records.desk.trip_steps import mark_arrived
from followup.records.house.staff import add_staff, open_session
from followup.records.jobs.upkeep import daily_outcome, daily_runs, note_heartbeat, transitions
from followup.records.people.patients import enter_record
from followup.records.plans.plans import sign_plan, store_draft
from followup.records.plans.sheets import hand_over_sheet, issue_sheet
from followup.records.trips.trips import trips_of_plan
from followup.records.views import SYSTEM, Actor

EVERYBODY = Actor("all", frozenset({"counsellor", "reception", "surgeon"}), "All", "R-1")
EACH_TURN = pytest.mark.parametrize("turn", TURNS, ids=IDS)
DAY0 = date(2027, 3, 1)
NO_LASER = json.dumps({"services": [{"name": "laser", "dates": []}]})


def _plan(ward, unit, code: str, *looks, in_hand: bool = True, services: str = "review", **patient):
    """A signed plan with one visit for each look (kind, its visit's day, its last day), all in one unit."""
    needs = tuple(ward.need(kind, on, latest, service=services) for kind, on, latest in looks)
    trips = tuple(ward.visit(i, looks[i - 1][1], need) for i, need in enumerate(needs, 1))
    who = enter_record(unit, record=ward.record(code, **patient)).patient_id
    body = ward.body(code, needs=needs, trips=trips)
    plan = sign_plan(unit, plan_id=store_draft(unit, patient_id=who, record_number=1, body=body).id)
    if in_hand:
        issue_sheet(unit, plan_id=plan.id, sheet_id=f"{plan.id:010d}", language="en")
        hand_over_sheet(unit, sheet_id=f"{plan.id:010d}", to="self")
    return plan


@pytest.fixture(scope="module")
def people(shared_ward):
    """For every midnight: somebody in each of the ways in which midnight changes what the lists say."""
    ward, half, noon = shared_ward, timedelta(minutes=30), timedelta(hours=12)
    for number, turn in enumerate(TURNS):
        ward.in_zone(turn.zone, calendar=NO_LASER)
        day = (turn.day - ward.day0).days
        with ward.store.write(EVERYBODY, turn.begins - noon) as unit:
            _plan(ward, unit, f"MISSED-{number}", ("look", day - 1, day - 1), ("next", day, day + 5))
            _plan(ward, unit, f"LASER-{number}", ("laser", day - 1, day + 5), services="laser")
            here = _plan(ward, unit, f"HERE-{number}", ("look", day - 1, day + 5))
            left = _plan(ward, unit, f"LEFT-{number}", ("look", day - 1, day + 5))
            for plan in (here, left):
                mark_arrived(unit, trip_id=_first_visit(unit, plan), nonce=f"came {plan.id}")
            mark_left(unit, trip_id=_first_visit(unit, left))
            _draft(ward, unit, f"PLANNED-{number}", as_of=turn.eve)
            _draft(ward, unit, f"FOR-TODAY-{number}", as_of=turn.day)
        for who, at in (("BEFORE", turn.begins - half), ("AFTER", turn.begins + half)):
            with ward.store.write(EVERYBODY, at) as unit:
                _plan(ward, unit, f"{who}-{number}", in_hand=False)
                _draft(ward, unit, f"DRAFTED-{who}-{number}", as_of=ward.day0)
    return ward


def _draft(ward, unit, code: str, as_of: date) -> None:
    """A draft that asks nothing and waits for the surgeon."""
    who = enter_record(unit, record=ward.record(code)).patient_id
    body = ward.body(code, as_of=as_of, needs=(), trips=())
    store_draft(unit, patient_id=who, record_number=1, body=body)


def _first_visit(unit, plan) -> int:
    return trips_of_plan(unit.session, plan.id)[0].id


def _reasons(ward, now: datetime) -> dict[str, list[tuple[str, date, int]]]:
    with ward.store.read() as session:
        found = worklist(session, now)
    return {
        line.patient.code: [(one.kind, one.since, one.days) for one in (line, *line.also)] for line in found
    }


# What stands on "To reach today" until midnight, and from midnight on: kind, since, days past the last one.
TO_REACH = {
    "MISSED": (lambda t: [], lambda t: [("overdue", t.day, 1)]),
    "PLANNED": (lambda t: [], lambda t: [("plan incomplete", t.eve, 0)]),
    "FOR-TODAY": (lambda t: [], lambda t: []),
    "DRAFTED-BEFORE": (lambda t: [], lambda t: [("plan incomplete", DAY0, 0)]),
    "DRAFTED-AFTER": (lambda t: [], lambda t: []),
    "BEFORE": (lambda t: [("new version", t.eve, 0)], lambda t: [("new version", t.eve, 0)]),
    "AFTER": (lambda t: [("new version", t.day, 0)], lambda t: [("new version", t.day, 0)]),
    "LASER": (lambda t: [("closed day", t.eve, 0)], lambda t: []),
    "HERE": (lambda t: [], lambda t: [("left unseen", t.eve, 0)]),
    "LEFT": (lambda t: [], lambda t: [("left unseen", t.eve, 0)]),
}


@EACH_TURN
def test_the_list_to_reach_turns_at_the_clinics_midnight(people, turn: Turn):
    people.in_zone(turn.zone, calendar=NO_LASER)
    number = TURNS.index(turn)
    for said, now, begun in turn.around:
        stands = _reasons(people, now)
        for who, expected in TO_REACH.items():
            found = stands.get(f"{who}-{number}", [])
            assert found == expected[begun](turn), f"{who} at {said} of {turn}"


# How the visits of the evening's day and of the new day stand until midnight, and from midnight on.
STANDS = {
    ("MISSED", -1): ("due today", "overdue"),
    ("MISSED", 0): ("upcoming", "due today"),
    ("LASER", -1): ("due today", "late"),
    ("HERE", -1): ("here", "left"),
    ("LEFT", -1): ("left", "left"),
}


@EACH_TURN
def test_the_days_visits_turn_at_the_clinics_midnight(people, turn: Turn):
    people.in_zone(turn.zone, calendar=NO_LASER)
    for said, now, begun in turn.around:
        with people.store.read() as session:
            for (who, shift), expected in STANDS.items():
                lines = due_lines(session, turn.day + timedelta(days=shift), now, {})
                (stands,) = [one.standing for one in lines if one.code == f"{who}-{TURNS.index(turn)}"]
                assert stands == expected[begun], f"{who} at {said} of {turn}"


AGES = [
    # Born, and the age until the clinic's midnight and from it on.
    ("Asia/Kolkata", "1957-03-10", "2027-03-09 18:30", "69", "70"),
    ("America/Lima", "1957-12-31", "2027-12-31 05:00", "69", "70"),
    ("Pacific/Kiritimati", "1958-01-01", "2027-12-31 10:00", "69", "70"),
    # Born on a leap day: a year older on the leap day, and in other years on 1 March.
    ("Asia/Kolkata", "1956-02-29", "2028-02-28 18:30", "71", "72"),
    ("Pacific/Pago_Pago", "1956-02-29", "2027-03-01 11:00", "70", "71"),
]


@pytest.mark.parametrize(("zone", "born", "begins", "before", "after"), AGES)
def test_the_age_beside_a_name_turns_on_the_birthday_at_the_clinics_midnight(
    sqlite_ward, zone, born, begins, before, after
):
    sqlite_ward.in_zone(zone)
    with sqlite_ward.store.write(EVERYBODY, sqlite_ward.now) as unit:
        _plan(sqlite_ward, unit, "BORN", in_hand=False, birth_date=born, birth_year=None)
    turn = Turn(zone, date.min + timedelta(days=1), datetime.fromisoformat(f"{begins}+00:00"))
    for said, now, begun in turn.around:
        with sqlite_ward.store.read() as session:
            (line,) = reach_lines(session, now, translator("en", "desk"), {})
        assert line.age == (after if begun else before), f"born {born}, at {said}"


def test_the_sweep_notices_at_the_clinics_midnight_and_checks_the_journal_once_a_clinic_day(sqlite_ward):
    ward = sqlite_ward
    one_a_day = {turn.day: turn for turn in sorted(TURNS, key=lambda one: one.begins)}
    for number, turn in enumerate(one_a_day.values()):
        ward.in_zone(turn.zone)
        day = (turn.day - ward.day0).days
        with ward.store.write(EVERYBODY, ward.now) as unit:
            visit = _first_visit(unit, _plan(ward, unit, f"K-{number}", ("look", day - 1, day - 1)))
        for said, now, begun in turn.around:
            sweep(ward.store, now)
            with ward.store.read() as session:
                found = [(t.kind, t.became_at) for t in transitions(session, trip_id=visit)]
                checked = daily_outcome(session, job=JOURNAL_CHECK, day=turn.day) is not None
                before = daily_outcome(session, job=JOURNAL_CHECK, day=turn.eve) is not None
            assert found == ([("overdue", turn.begins)] if begun else []), f"{said} of {turn}"
            assert (before, checked) == (True, begun), f"the journal's check at {said} of {turn}"


@EACH_TURN
def test_a_day_begins_where_the_published_time_zones_say(turn: Turn):
    assert day_begins(turn.day, ZoneInfo(turn.zone)) == turn.begins


# The day's work. The hours are those of the clinic; what the night work does comes before anything is sent.
HOURS = {
    "integrity check": "01:00",
    "nightly backup": "01:30",
    "plans that are over": "02:00",
    "morning list": "06:00",
    "pharmacy list": "06:00",
    "day-before reminders": "08:00",
    "step-change messages": "08:00",
    "missed-visit messages": "09:00",
}


def test_each_job_has_its_hour_and_whatever_reaches_patients_comes_last_and_waits_for_a_true_clock():
    assert {job.name: job.at for job in JOBS} == HOURS
    assert [job.name for job in JOBS] == list(HOURS)
    assert {job.name for job in JOBS if job.tells} == {
        "day-before reminders",
        "step-change messages",
        "missed-visit messages",
    }
    assert {job.name for job in JOBS if job.each_day} == {job.name for job in JOBS if job.tells}


# Zone, hour of the job, what the clocks of the clinic show, and the day whose run is made then, if any.
DAYS_WORK = [
    ("Asia/Kolkata", "06:00", "2027-03-10 05:59", None),
    ("Asia/Kolkata", "06:00", "2027-03-10 06:00", "2027-03-10"),
    ("Asia/Kolkata", "06:00", "2027-03-10 06:01", "2027-03-10"),
    ("Asia/Kolkata", "00:30", "2027-03-10 23:30", "2027-03-10"),
    ("Pacific/Kiritimati", "06:00", "2028-01-01 05:59", None),
    ("Pacific/Kiritimati", "06:00", "2028-01-01 06:00", "2028-01-01"),
    ("Pacific/Kiritimati", "00:30", "2028-01-01 00:30", "2028-01-01"),
    ("America/Lima", "20:00", "2027-12-31 19:59", None),
    ("America/Lima", "20:00", "2027-12-31 20:00", "2027-12-31"),
    ("America/Lima", "00:30", "2027-12-31 23:30", "2027-12-31"),
    ("Pacific/Pago_Pago", "06:00", "2027-03-31 05:59", None),
    ("Pacific/Pago_Pago", "06:00", "2027-03-31 23:59", "2027-03-31"),
    # On 14 March 2027 New York's clocks go from 01:59 to 03:00: a job of 02:30 is due at 03:00.
    ("America/New_York", "02:30", "2027-03-14 01:59", None),
    ("America/New_York", "02:30", "2027-03-14 03:00", "2027-03-14"),
    # On 7 November the hour from 01:00 on comes twice: due in the first one.
    ("America/New_York", "01:30", "2027-11-07 01:29", None),
    ("America/New_York", "01:30", "2027-11-07 01:30", "2027-11-07"),
]


class _Day:
    """The work of a day that only notes for which day it was done."""

    def __init__(self, at: str, *, each_day: bool = False) -> None:
        self.done: list[str] = []
        self.job = Job("work", at, self._work, each_day=each_day)

    def _work(self, _place, day: date, _now) -> str:
        self.done.append(day.isoformat())
        return "done"


@pytest.fixture
def day_of(monkeypatch, sqlite_ward):
    """A clinic in a zone whose day's work is one job at an hour; the place of work."""

    def make(zone: str, at: str, **more) -> tuple[_Day, SimpleNamespace]:
        sqlite_ward.in_zone(zone)
        with sqlite_ward.store.engine.begin() as connection:
            connection.exec_driver_sql("DELETE FROM daily_run")
        day = _Day(at, **more)
        monkeypatch.setattr(daily, "JOBS", (day.job,))
        return day, SimpleNamespace(store=sqlite_ward.store)

    return make


def test_the_days_work_begins_at_its_hour_by_the_clocks_of_the_clinic_and_is_done_once(day_of):
    for zone, at, clock, expected in DAYS_WORK:
        day, place = day_of(zone, at)
        assert run_due(place, local(zone, clock)) == ()
        assert day.done == ([expected] if expected else []), f"{at} in {zone} at {clock}"
        run_due(place, local(zone, clock) + timedelta(minutes=5))
        run_due(place, local(zone, "2027-11-07 01:30", fold=1) if "11-07" in clock else local(zone, clock))
        assert len(day.done) <= 1, f"{at} in {zone} twice at {clock}"


# A job of 06:00, done on one day; then the computer was off until ..; the days for which it is made up.
MADE_UP = [
    ("2027-03-10 06:00", "2027-03-10 23:59", [], []),
    ("2027-03-10 06:00", "2027-03-11 05:59", [], []),
    ("2027-03-10 06:00", "2027-03-11 06:00", ["2027-03-11"], ["2027-03-11"]),
    ("2027-03-10 06:00", "2027-03-13 05:59", ["2027-03-11", "2027-03-12"], ["2027-03-12"]),
    ("2028-02-28 06:00", "2028-03-01 06:00", ["2028-02-29", "2028-03-01"], ["2028-03-01"]),
]


@pytest.mark.parametrize("zone", ["Asia/Kolkata", "Pacific/Kiritimati", "America/Lima", "Pacific/Pago_Pago"])
def test_days_switched_off_are_made_up_each_or_by_the_newest_alone(day_of, zone):
    for first, back, each, newest in MADE_UP:
        for each_day, expected in ((True, each), (False, newest)):
            day, place = day_of(zone, "06:00", each_day=each_day)
            run_due(place, local(zone, first))
            run_due(place, local(zone, back))
            assert day.done == [first[:10], *expected], f"{first} to {back} in {zone}, each day: {each_day}"


def test_of_a_longer_absence_sixty_days_are_made_up(day_of):
    day, place = day_of("Asia/Kolkata", "06:00", each_day=True)
    run_due(place, local("Asia/Kolkata", "2027-03-10 07:00"))
    run_due(place, local("Asia/Kolkata", "2027-07-10 07:00"))
    assert (len(day.done), day.done[1], day.done[-1]) == (62, "2027-05-11", "2027-07-10")


def test_a_run_that_nobody_finished_is_taken_over_half_an_hour_later_and_not_a_moment_before(day_of):
    began = local("Asia/Kolkata", "2027-03-10 06:00")
    for minutes, expected in ((29, 0), (30, 1), (31, 1)):
        day, place = day_of("Asia/Kolkata", "06:00")
        run_due(place, began)
        with place.store.engine.begin() as connection:
            connection.exec_driver_sql("UPDATE daily_run SET finished_at = NULL, outcome = ''")
        run_due(place, began + timedelta(minutes=minutes))
        assert len(day.done) == 1 + expected, f"{minutes} minutes after a server died"


def test_runs_of_days_that_have_not_come_are_forgotten_and_those_of_today_are_not(sqlite_ward, day_of):
    _, place = day_of("America/Lima", "00:30")
    run_due(place, local("America/Lima", "2027-03-10 12:00"))
    run_due(place, local("America/Lima", "2027-03-11 12:00"))
    # 23:30 of the 10th in Lima is the 11th in UTC: the run of the 11th has not come.
    run_due(place, local("America/Lima", "2027-03-10 23:30"))
    with sqlite_ward.store.read() as session:
        kept = [run.day.isoformat() for run in daily_runs(session, since=sqlite_ward.day0)]
    assert kept == ["2027-03-10"]


# The clock that is believed or not.

SIGNS_OF_LIFE = [
    # Hours since the sweep's last sign of life (None: it never ran), since the newest entry; do they wait?
    (0, 0, False),
    (36, 1000, False),
    (36.001, 1000, True),
    (36.001, 0, True),
    (None, 36, False),
    (None, 36.001, True),
    (-36, 0, False),
    (-36.001, 0, True),
    (0, -36, False),
    (0, -36.001, True),
]


def test_after_more_than_a_day_and_a_half_without_a_sign_of_life_or_ahead_of_the_clock_messages_wait(
    sqlite_ward,
):
    assert timedelta(hours=36) == JUMP
    now = sqlite_ward.at(300)
    for beat, entry, waits in SIGNS_OF_LIFE:
        with sqlite_ward.store.engine.begin() as connection:
            connection.exec_driver_sql("DELETE FROM heartbeat")
            connection.exec_driver_sql("DROP TRIGGER IF EXISTS journal_no_update")
            at = (now - timedelta(hours=entry)).replace(tzinfo=None)
            connection.exec_driver_sql("UPDATE journal SET at = ?", (at.isoformat(" ", "microseconds"),))
        if beat is not None:
            with sqlite_ward.store.upkeep(now - timedelta(hours=beat)) as unit:
                note_heartbeat(unit, name="sweep", ok=True, rows=0)
        note_clock(sqlite_ward.store, now)
        with sqlite_ward.store.read() as session:
            assert bool(why_messages_wait(session)) is waits, (beat, entry)


@EACH_TURN
def test_only_a_log_in_of_the_clinics_own_day_makes_its_clock_believed(sqlite_ward, turn: Turn):
    ward = sqlite_ward
    ward.in_zone(turn.zone)
    with ward.store.write(SYSTEM, ward.now) as unit:
        add_staff(unit, login="mira", name="Mira", roles=["counsellor"], password_hash="-")
    for logged_in, log_in, its_day in turn.around:
        for said, now, begun in turn.around:
            if now < log_in:
                continue
            with ward.store.engine.begin() as connection:
                connection.exec_driver_sql("DELETE FROM login_session")
                connection.exec_driver_sql("DELETE FROM heartbeat")
            with ward.store.upkeep(turn.begins - timedelta(days=12)) as unit:
                note_heartbeat(unit, name="sweep", ok=True, rows=0)
            with ward.store.write(SYSTEM, log_in) as unit:
                open_session(unit, login="mira", lifetime=timedelta(hours=12))
            note_clock(ward.store, now)
            with ward.store.read() as session:
                waits = bool(why_messages_wait(session))
            assert waits is (its_day != begun), f"log-in at {logged_in}, the clock at {said}"
    # A log-in of the day after, as a clock that ran ahead left it, is none of today either.
    with ward.store.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM heartbeat")
    with ward.store.upkeep(turn.begins - timedelta(days=12)) as unit:
        note_heartbeat(unit, name="sweep", ok=True, rows=0)
    note_clock(ward.store, turn.begins - timedelta(hours=12))
    with ward.store.read() as session:
        assert why_messages_wait(session).endswith(f"and the clock shows {turn.eve}")
