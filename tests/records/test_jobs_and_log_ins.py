"""Leases, daily runs, signs of life, transitions and log-ins: at each limit, and none for another's."""

from __future__ import annotations

from datetime import timedelta

import pytest
from crowd import EVERYBODY

from followup.records.house.sessions import end_sessions_of
from followup.records.house.staff import (
    add_staff,
    change_staff,
    end_session,
    find_session,
    logged_in_between,
    open_session,
    touch_session,
)
from followup.records.house.wrong_logins import note_wrong_login, seconds_to_wait
from followup.records.jobs.upkeep import (
    claim_daily_run,
    daily_outcome,
    daily_runs,
    finish_daily_run,
    forget_runs_after,
    heartbeat,
    last_daily_run,
    lease,
    note_heartbeat,
    note_transitions,
    reclaim_daily_run,
    release_lease,
    take_back_transition,
    take_lease,
    transitions,
    transitions_ahead,
    turns_of,
)

MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


@pytest.fixture(scope="module")
def two(shared_ward):
    """Two patients with signed plans (visits on the days 1, 7 and 42), K-1 and K-2."""
    plans = [shared_ward.signed(code) for code in ("K-1", "K-2")]
    shared_ward.ids = [plan.patient_id for plan in plans]
    shared_ward.visits = [[visit.id for visit in shared_ward.trips(plan)] for plan in plans]
    shared_ward.plans = [plan.id for plan in plans]
    return shared_ward


def _tried(ward, does, now=None, by=EVERYBODY):
    found = ward.would(now or ward.now, does, by=by)
    assert not isinstance(found, str), found
    return found


# Recurring jobs


def test_a_lease_is_taken_at_its_end_and_not_a_moment_before_and_each_job_has_its_own(two):
    life = timedelta(seconds=100)

    def taken(unit):
        start, found = unit.now, []
        for name, owner, after in (
            ("sweep", "a", 0),
            ("other", "b", 1),
            ("sweep", "b", 99.999),
            ("sweep", "b", 100),
            ("sweep", "a", 150),
            ("sweep", "b", 150),
        ):
            unit.now = start + timedelta(seconds=after)
            found.append(take_lease(unit, name=name, owner=owner, lifetime=life))
        unit.session.expire_all()
        held = [lease(unit.session, name) for name in ("sweep", "other", "none")]
        release_lease(unit, name="sweep", owner="a")
        release_lease(unit, name="other", owner="a")
        unit.session.expire_all()
        same = [lease(unit.session, name) for name in ("sweep", "other")]
        release_lease(unit, name="sweep", owner="b")
        unit.session.expire_all()
        return found, start, held, same, [lease(unit.session, name)[1] for name in ("sweep", "other")]

    found, start, held, same, last = _tried(two, taken)
    assert found == [True, True, False, True, False, True]
    assert held == [("b", start + timedelta(seconds=250)), ("b", start + timedelta(seconds=101)), None]
    assert same == held[:2]
    assert last == [start + timedelta(seconds=150), start + timedelta(seconds=101)]


@pytest.mark.parametrize(("ahead", "free"), [(199, False), (200, False), (200.001, True), (9000, True)])
def test_a_lease_further_ahead_than_twice_its_life_was_taken_by_a_wrong_clock(two, ahead, free):
    life = timedelta(seconds=100)

    def taken(unit):
        start = unit.now
        unit.now = start + timedelta(seconds=ahead - 100)
        take_lease(unit, name="sweep", owner="a", lifetime=life)
        unit.now = start
        return take_lease(unit, name="sweep", owner="b", lifetime=life)

    assert _tried(two, taken) is free


def test_each_day_of_each_job_is_claimed_finished_and_told_alone(two):
    def run(unit):
        day, session = two.day, unit.session
        claimed = [
            claim_daily_run(unit, job=job, day=day(number))
            for job, number in (("a", 1), ("a", 1), ("a", 2), ("b", 1), ("b", 5))
        ]
        finish_daily_run(unit, job="a", day=day(1), outcome="fine")
        session.expire_all()
        told = (("a", 1), ("a", 2), ("b", 1), ("c", 1))
        outcomes = [daily_outcome(session, job=job, day=day(number)) for job, number in told]
        newest = [last_daily_run(session, job) for job in ("a", "b", "c")]
        since = [
            [(one.job, (one.day - two.day0).days) for one in daily_runs(session, since=day(number))]
            for number in (1, 2, 6)
        ]
        gone = forget_runs_after(unit, day(2))
        return claimed, outcomes, newest, since, gone, [last_daily_run(session, job) for job in ("a", "b")]

    claimed, outcomes, newest, since, gone, left = _tried(two, run)
    assert claimed == [True, False, True, True, True]
    assert outcomes == ["fine", "", "", None]
    assert newest == [two.day(2), two.day(5), None]
    assert since == [[("a", 1), ("b", 1), ("a", 2), ("b", 5)], [("a", 2), ("b", 5)], []]
    assert (gone, left) == (1, [two.day(2), two.day(1)])


# Minutes since a run was begun, whether it was finished, and whether another server may take it over.
TAKEN_OVER = [
    (0, False, False),
    (29.99, False, False),
    (30, False, True),
    (31, False, True),
    (31, True, False),
    # Begun ahead of this clock: by a server whose clock was a little ahead, or one that was wrong.
    (-60, False, False),
    (-60.01, False, True),
    (-61, True, False),
]


@pytest.mark.parametrize(("minutes", "finished", "mine"), TAKEN_OVER)
def test_a_run_is_taken_over_from_a_dead_server_alone(two, minutes, finished, mine):
    def taken(unit):
        day, now = two.day, unit.now
        unit.now = now - timedelta(minutes=minutes)
        for job, number in (("a", 1), ("a", 2), ("b", 1)):
            claim_daily_run(unit, job=job, day=day(number))
        if finished:
            finish_daily_run(unit, job="a", day=day(1), outcome="fine")
        unit.now = now
        abandoned = now - timedelta(minutes=30)
        found = reclaim_daily_run(unit, job="a", day=day(1), abandoned=abandoned)
        unit.session.expire_all()
        runs = daily_runs(unit.session, since=day(0))
        began = {(one.job, (one.day - two.day0).days): one.claimed_at for one in runs}
        return found, began, now

    found, began, now = _tried(two, taken)
    before = now - timedelta(minutes=minutes)
    assert found is mine
    assert began == {("a", 1): now if mine else before, ("a", 2): before, ("b", 1): before}


def test_each_job_has_its_own_sign_of_life(two):
    def beat(unit):
        note_heartbeat(unit, name="a", ok=True, rows=1)
        unit.now += HOUR
        note_heartbeat(unit, name="b", ok=False, rows=2, message="m")
        unit.now += HOUR
        note_heartbeat(unit, name="a", ok=False, rows=3)
        unit.session.expire_all()
        found = [heartbeat(unit.session, name) for name in ("a", "b", "c")]
        return [one and ((one.at - two.now) / HOUR, one.ok, one.rows) for one in found]

    assert _tried(two, beat) == [(2, False, 3), (1, False, 2), None]


def test_a_transition_is_known_by_visit_kind_and_instant_and_taken_back_by_all_three(two):
    first, second = two.visits[0][0], two.visits[1][0]

    def turned(unit):
        session, at = unit.session, two.at(2)
        late, overdue, later = (first, "late", at), (first, "overdue", at), (first, "late", at + HOUR)
        other = (second, "late", at)
        new = [note_transitions(unit, [turn]) == {turn} for turn in (late, overdue, later, other, late)]
        known = [len(transitions(session, trip_id=number)) for number in (first, second, 4711)]
        ahead = [len(transitions_ahead(session, when)) for when in (at - MINUTE, at, at + HOUR)]
        (one,) = [t for t in transitions(session, trip_id=first) if (t.kind, t.became_at) == late[1:]]
        back = [take_back_transition(unit, one), take_back_transition(unit, one)]
        left = [(t.trip_id, t.kind, t.became_at) for t in transitions(session)]
        of_first = turns_of(session, [first, 4711]) == {overdue, later}
        return new, known, ahead, back, left == [overdue, other, later], of_first

    new, known, ahead, back, left, of_first = _tried(two, turned, two.at(1))
    assert new == [True, True, True, True, False]
    assert (known, ahead) == ([3, 1, 0], [4, 1, 0])
    assert back == [True, False]
    assert left
    assert of_first


# Log-ins

IDLE, LIFE = timedelta(minutes=30), timedelta(hours=12)


@pytest.fixture(scope="module")
def staff(shared_ward):
    with shared_ward.store.write(EVERYBODY, shared_ward.now) as unit:
        for login in ("asha", "ben"):
            add_staff(unit, login=login, name=login.title(), roles=["reception"], password_hash="-")
    return shared_ward


# After how long, last used how long before that, is the log-in in force?
SESSIONS = [
    (timedelta(0), timedelta(0), True),
    (IDLE - timedelta(seconds=1), IDLE - timedelta(seconds=1), True),
    (IDLE, IDLE, False),
    (LIFE - timedelta(seconds=1), MINUTE, True),
    (LIFE, MINUTE, False),
    # Begun or used by a clock up to three hours ahead: that corrects itself; further ahead it holds no more.
    (-3 * HOUR, timedelta(0), True),
    (-3 * HOUR - timedelta(seconds=1), timedelta(0), False),
]


@pytest.mark.parametrize(("after", "unused", "holds"), SESSIONS)
def test_a_log_in_lasts_half_an_hour_unused_and_twelve_hours_in_all(staff, after, unused, holds):
    def found(unit):
        start = unit.now
        token = open_session(unit, login="asha", lifetime=LIFE)
        other = open_session(unit, login="ben", lifetime=LIFE)
        if after - unused > timedelta(0):
            unit.now = start + after - unused
            touch_session(unit, token=token)
        now = start + after
        unit.session.expire_all()
        mine = find_session(unit.session, token=token, now=now, idle=IDLE)
        theirs = find_session(unit.session, token=other, now=start, idle=IDLE)
        return mine and mine.staff.login, theirs.staff.login, theirs.last_seen == start

    assert _tried(staff, found) == ("asha" if holds else None, "ben", True)


def test_what_ends_one_persons_log_in_ends_no_other_and_what_is_ended_stays_so(staff):
    def ended(unit):
        start, session = unit.now, unit.session
        tokens = [open_session(unit, login=login, lifetime=LIFE) for login in ("asha", "asha", "ben")]

        def there():
            session.expire_all()
            return [find_session(session, token=t, now=unit.now, idle=IDLE) is not None for t in tokens]

        steps = [there()]
        end_session(unit, token=tokens[0])
        steps.append(there())
        unit.now = start + MINUTE
        touch_session(unit, token=tokens[0])
        end_sessions_of(unit, login="asha")
        steps.append(there())
        change_staff(unit, login="ben", active=False)
        steps.append(there())
        return steps

    steps = _tried(staff, ended)
    assert steps == [[True] * 3, [False, True, True], [False, False, True], [False] * 3]


def test_a_log_in_counts_from_its_first_instant_to_before_its_last(staff):
    def between(unit):
        at = unit.now
        open_session(unit, login="asha", lifetime=LIFE)
        tick = timedelta(microseconds=1)
        spans = ((at - HOUR, at), (at - HOUR, at + tick), (at, at + HOUR), (at + tick, at + HOUR))
        return [logged_in_between(unit.session, begins, ends) for begins, ends in spans]

    assert _tried(staff, between, staff.at(99)) == [False, True, True, False]


# Wrong passwords, minutes after the last of them, is the person kept out?
LOCKED = [
    (2, 0, False),
    (3, 0.08, True),
    (3, 0.09, False),
    (4, 0.33, True),
    (4, 0.34, False),
    (5, 0, True),
    (5, 14.99, True),
    (5, 15, False),
    (5, 16, False),
    (5, -15, True),
    (5, -15.01, False),
]


@pytest.mark.parametrize(("wrong", "minutes", "out"), LOCKED)
def test_five_wrong_passwords_keep_out_for_a_quarter_of_an_hour(staff, wrong, minutes, out):
    def kept_out(unit):
        for _ in range(wrong):
            note_wrong_login(unit, login="asha", origin="192.0.2.1")
        now = unit.now + timedelta(minutes=minutes)
        whence = (("asha", "192.0.2.1"), ("asha", "192.0.2.2"), ("ben", "192.0.2.1"))
        waits = [seconds_to_wait(unit.session, login=who, origin=origin, now=now) for who, origin in whence]
        return [wait > 0 for wait in waits]

    assert _tried(staff, kept_out) == [out, False, False]
