"""A clock that jumps tells nobody anything: messages wait until somebody has logged in on that day."""

from __future__ import annotations

from datetime import timedelta

import pytest
from queue_of_messages import messages_of_day
from sqlalchemy import text

from followup.recall.jobs import daily
from followup.recall.jobs.scheduler import sweep_if_ours
from followup.recall.messages.clock import why_messages_wait
from followup.records.house.staff import (
    find_session,
    open_session,
)
from followup.records.house.wrong_logins import (
    LOCK,
    MOST_WRONG,
    is_locked,
    note_wrong_login,
    seconds_to_wait,
)
from followup.records.jobs.backup import backups, take_backup

NOON = 6.5
PEOPLE = 4


class Out:
    """A way out that notes what went."""

    def __init__(self) -> None:
        self.sent: list[str] = []

    def send(self, message) -> None:
        self.sent.append(message.key)


@pytest.fixture
def clinic(ward, in_hand, agreed, place_of, monkeypatch):
    """A few people with visits on the days 1, 7 and 42 who get messages, and a way out.

    Of the day's work it does what tells somebody something: the rest has its own tests.
    """
    monkeypatch.setattr(daily, "JOBS", tuple(job for job in daily.JOBS if job.tells))
    for number in range(PEOPLE):
        plan = ward.signed(f"K-{number}")
        in_hand(ward, plan)
        agreed(ward, plan.patient_id)
    out = Out()
    return ward, place_of(ward, senders={"folder": out}), out


def _sweep(ward, place, now) -> str:
    assert sweep_if_ours(ward.store, "a", now, place=place) is not None
    with ward.store.read() as session:
        return why_messages_wait(session)


def _day_by_day(ward, place, days) -> None:
    for day in days:
        ward.log_in(ward.at(day, 4))
        assert _sweep(ward, place, ward.at(day, NOON)) == ""


def test_a_clock_twelve_days_ahead_tells_nobody_that_they_did_not_come(clinic):
    ward, place, out = clinic
    with ward.store.write(ward.reception, ward.at(0, 9)) as unit:
        unit.log("somebody works", "clinic")
    assert _sweep(ward, place, ward.at(0, 10)) == ""
    # Of the visits of tomorrow: that clock was right.
    before = list(out.sent)
    assert len(before) == PEOPLE
    for minute in range(3):
        wrong = ward.at(12, NOON) + timedelta(minutes=minute)
        assert "2027-03-01, and the clock shows 2027-03-13" in _sweep(ward, place, wrong)
    assert out.sent == before
    with ward.store.read() as session:
        assert [one for day in range(1, 14) for one in messages_of_day(session, ward.day(day))] == []
    # Set right again, and somebody logs in: what is due is told, once, and nothing else.
    ward.log_in(ward.at(1, 4))
    assert _sweep(ward, place, ward.at(1, NOON)) == ""
    assert out.sent == before
    _day_by_day(ward, place, (2, 3))
    missed = [key for key in out.sent if key.startswith("m-")]
    assert len(missed) == PEOPLE
    assert len(out.sent) == len(set(out.sent)) == 2 * PEOPLE


def test_after_a_weekend_switched_off_messages_wait_for_the_first_log_in_and_none_is_lost(clinic):
    ward, place, out = clinic
    _day_by_day(ward, place, (0, 1, 2, 3))
    before = list(out.sent)
    assert "the clock shows 2027-03-07" in _sweep(ward, place, ward.at(6, NOON))
    assert out.sent == before
    ward.log_in(ward.at(6, NOON + 0.1))
    assert _sweep(ward, place, ward.at(6, NOON + 0.2)) == ""
    assert len([key for key in out.sent if key.endswith("-2027-03-08")]) == PEOPLE


def test_a_quiet_clinic_whose_program_is_at_work_waits_for_nobody(clinic):
    ward, place, _ = clinic
    _day_by_day(ward, place, (0,))
    for day in (1, 2, 3, 4):
        for hours in (NOON, NOON + 12):
            assert _sweep(ward, place, ward.at(day, hours)) == ""


def test_a_clock_that_stands_behind_waits_for_a_log_in_on_its_own_day(clinic):
    ward, place, _ = clinic
    _day_by_day(ward, place, (0, 1, 2))
    assert "what was written last is of 2027-03-03" in _sweep(ward, place, ward.at(-9, NOON))
    # The log-in of another day does not count.
    assert _sweep(ward, place, ward.at(-8, NOON))
    ward.log_in(ward.at(-8, NOON))
    assert _sweep(ward, place, ward.at(-8, NOON + 0.1)) == ""


def test_what_a_clock_ahead_queued_is_taken_back_and_written_again_in_time(clinic):
    """Somebody had logged in on the wrong day and not noticed: messages were written for it."""
    ward, place, out = clinic
    _day_by_day(ward, place, (0,))
    place.senders["folder"] = broken = Out()
    broken.send = lambda message: (_ for _ in ()).throw(OSError("no way out"))
    ward.log_in(ward.at(12, 4))
    _sweep(ward, place, ward.at(12, NOON))
    with ward.store.read() as session:
        assert sum(len(messages_of_day(session, ward.day(day))) for day in range(2, 13)) >= PEOPLE
    place.senders["folder"] = out
    _day_by_day(ward, place, (1, 2, 3))
    with ward.store.read() as session:
        assert [one for day in range(4, 13) for one in messages_of_day(session, ward.day(day))] == []
    assert len([key for key in out.sent if key.startswith("m-")]) == PEOPLE


def test_a_jump_of_two_years_deletes_no_backup(ward, place_of):
    place = place_of(ward)
    for day in range(10):
        take_backup(ward.store.engine, place.backups, ward.at(day))
    _day_by_day(ward, place, (10,))
    before = {one.path for one in backups(place.backups)}
    for minute in range(3):
        _sweep(ward, place, ward.at(740, NOON) + timedelta(minutes=minute))
    assert before < {one.path for one in backups(place.backups)}


def test_a_log_in_locked_by_a_clock_two_years_ahead_is_free_again(ward):
    ward.log_in(ward.now)
    ahead = ward.at(700)
    mira = {"login": "mira", "origin": "192.0.2.1"}
    for _ in range(MOST_WRONG):
        with ward.store.upkeep(ahead) as unit:
            note_wrong_login(unit, **mira)
    with ward.store.read() as session:
        assert is_locked(session, **mira, now=ahead + LOCK - timedelta(seconds=1))
        assert seconds_to_wait(session, **mira, now=ward.at(1)) == 0
    with ward.store.write(ward.reception, ward.at(1)) as unit:
        open_session(unit, **mira, lifetime=timedelta(hours=12))


def test_a_session_that_a_clock_ahead_began_does_not_hold_until_then(ward):
    ward.log_in(ward.now)
    idle = timedelta(minutes=30)
    with ward.store.write(ward.reception, ward.at(700)) as unit:
        token = open_session(unit, login="mira", lifetime=timedelta(hours=12))
    with ward.store.read() as session:
        assert find_session(session, token=token, now=ward.at(700), idle=idle) is not None
        assert find_session(session, token=token, now=ward.at(1), idle=idle) is None


def test_a_message_put_off_by_a_clock_ahead_is_tried_now(clinic):
    ward, place, out = clinic
    _day_by_day(ward, place, (0, 1, 2))
    out.sent.clear()
    with ward.store.engine.begin() as connection:
        changed = "UPDATE message SET state = 'waiting', next_try = :at, sent_at = NULL WHERE kind = 'missed'"
        connection.execute(text(changed), {"at": ward.at(700)})
    _sweep(ward, place, ward.at(2, NOON + 0.1))
    assert len(out.sent) == PEOPLE
