"""The sweep: once, rightly dated, whatever happened in between."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import text

from followup.recall.jobs.scheduler import LEASE, is_alive, running, sweep_if_ours
from followup.recall.jobs.sweep import JOURNAL_CHECK, last_heartbeat, sweep, transitions_of
from followup.records.desk.trip_steps import mark_arrived, move_trip
from followup.records.jobs.upkeep import daily_outcome, transitions
from followup.records.store.journal import journal_of, verify_journal
from followup.records.views import Actor

pytestmark = pytest.mark.usefixtures("database_kind")


def _known(ward) -> list[tuple[int, str, datetime, datetime]]:
    with ward.store.read() as session:
        return [(t.trip_id, t.kind, t.became_at, t.noticed_at) for t in transitions(session)]


def _beat(ward):
    with ward.store.read() as session:
        return last_heartbeat(session)


def test_a_sweep_writes_down_what_has_become_true_and_when_it_did(ward):
    first, week, _ = ward.trips(ward.signed())
    now = ward.at(8)
    swept = sweep(ward.store, now)
    # The window of the first look closed with day 1, that of the week's look is open until day 9.
    assert _known(ward) == [
        (first.id, "overdue", ward.at(1, 18.5), now),
        (week.id, "late", ward.at(7, 18.5), now),
    ]
    assert (swept.looked_at, swept.noticed, swept.failed) == (2, 2, ())
    assert (_beat(ward).at, _beat(ward).ok) == (now, True)


def test_a_second_sweep_changes_nothing_but_the_heartbeat(ward):
    ward.signed()
    sweep(ward.store, ward.at(8))
    before = _known(ward)
    with ward.store.read() as session:
        entries = verify_journal(session).entries
    again = sweep(ward.store, ward.at(8, 9))
    assert again.noticed == 0
    assert _known(ward) == before
    assert _beat(ward).at == ward.at(8, 9)
    with ward.store.read() as session:
        assert verify_journal(session).entries == entries


def test_four_days_switched_off_and_started_again_gives_the_same_as_never_off(ward):
    first, week, _ = ward.trips(ward.signed())
    steady, late = ward.at(6), ward.at(10)
    sweep(ward.store, steady)
    sweep(ward.store, late)
    assert [(trip, kind, became) for trip, kind, became, _ in _known(ward)] == [
        (first.id, "overdue", ward.at(1, 18.5)),
        (week.id, "late", ward.at(7, 18.5)),
        (week.id, "overdue", ward.at(9, 18.5)),
    ]
    assert [noticed for *_, noticed in _known(ward)] == [steady, late, late]


def test_sweeping_every_six_hours_and_sweeping_once_notice_the_same(ward):
    first, week, _ = ward.trips(ward.signed())
    for hour in range(0, 12 * 24, 6):
        sweep(ward.store, ward.at(0, 8.5 + hour))
    # What one sweep after ten days notices, shown above.
    assert [(trip, kind, became) for trip, kind, became, _ in _known(ward)] == [
        (first.id, "overdue", ward.at(1, 18.5)),
        (week.id, "late", ward.at(7, 18.5)),
        (week.id, "overdue", ward.at(9, 18.5)),
    ]
    assert sweep(ward.store, ward.at(12)).noticed == 0


@pytest.mark.parametrize(("hours", "noticed"), [(18.4999, 0), (18.5, 1), (18.5001, 1)])
def test_the_boundary_is_local_midnight(ward, hours, noticed):
    ward.signed()
    assert sweep(ward.store, ward.at(1, hours)).noticed == noticed


def test_two_sweeps_at_once_write_each_transition_once(ward, open_store):
    for number in range(6):
        ward.signed(f"K-{number}")
    other = open_store(ward.store.engine.url.render_as_string(hide_password=False))
    with ThreadPoolExecutor(4) as pool:
        stores = (ward.store, other, ward.store, other)
        swept = list(pool.map(lambda store: sweep(store, ward.at(8)), stores))
    assert len(_known(ward)) == 12
    assert sum(one.noticed for one in swept) == 12
    with ward.store.read() as session:
        told = journal_of(session, "patient:K-0")
    assert [entry.action for entry in told if entry.action.startswith("visit turned")] == [
        "visit turned overdue",
        "visit turned late",
    ]


def test_a_patient_who_came_is_not_noticed(ward):
    first = ward.trips(ward.signed())[0]
    with ward.store.write(ward.reception, ward.at(1)) as unit:
        mark_arrived(unit, trip_id=first.id, nonce="n")
    sweep(ward.store, ward.at(3))
    assert _known(ward) == []


def test_a_visit_that_was_moved_turns_late_anew_on_its_new_day(ward):
    week = ward.trips(ward.signed())[1]
    sweep(ward.store, ward.at(7, 20))
    with ward.store.write(ward.reception, ward.at(8)) as unit:
        move_trip(unit, trip_id=week.id, day=ward.day(8))
    sweep(ward.store, ward.at(8, 20))
    with ward.store.read() as session:
        assert [(t.kind, t.became_at) for t in transitions_of(session, week.id)] == [
            ("late", ward.at(7, 18.5)),
            ("late", ward.at(8, 18.5)),
        ]


def test_the_clock_put_back_an_hour_takes_nothing_back_and_writes_nothing_twice(ward):
    ward.signed()
    sweep(ward.store, ward.at(1, 19))
    assert sweep(ward.store, ward.at(1, 18)).noticed == 0
    assert sweep(ward.store, ward.at(1, 19)).noticed == 0
    assert len(_known(ward)) == 1


@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_a_poisoned_visit_is_named_and_the_others_are_swept(ward):
    """Only SQLite lets a day be what no day is."""
    bad, good = (ward.trips(ward.signed(code))[0] for code in ("K-1", "K-2"))
    with ward.store.engine.begin() as connection:
        connection.execute(text("UPDATE trip SET window_end = 'soon' WHERE id = :id"), {"id": bad.id})
    swept = sweep(ward.store, ward.at(2))
    assert swept.failed == (bad.id,)
    assert [trip for trip, *_ in _known(ward)] == [good.id]
    beat = _beat(ward)
    assert not beat.ok
    assert f"visit {bad.id} can't be swept" in beat.message


def test_a_visit_whose_turn_can_not_be_written_is_named_and_the_others_are_swept(ward):
    bad, good = (ward.trips(ward.signed(code))[0] for code in ("K-1", "K-2"))
    with ward.store.engine.begin() as connection:
        for statement in _poison(connection.dialect.name, bad.id):
            connection.execute(text(statement))
    assert sweep(ward.store, ward.at(2)).failed == (bad.id,)
    assert [trip for trip, *_ in _known(ward)] == [good.id]
    assert not _beat(ward).ok
    with ward.store.engine.begin() as connection:
        on = " ON trip_transition" if connection.dialect.name == "postgresql" else ""
        connection.execute(text(f"DROP TRIGGER poison{on}"))
    assert sweep(ward.store, ward.at(2, 9)).noticed == 1
    assert _beat(ward).ok


def _poison(dialect: str, trip_id: int) -> tuple[str, ...]:
    """What makes the database refuse every transition of one visit."""
    begin = f"CREATE TRIGGER poison BEFORE INSERT ON trip_transition {{}}WHEN (NEW.trip_id = {trip_id})"
    if dialect == "sqlite":
        return (f"{begin.format('')} BEGIN SELECT RAISE(ABORT, 'poisoned'); END",)
    return (
        "CREATE OR REPLACE FUNCTION poison() RETURNS trigger LANGUAGE plpgsql AS "
        "'BEGIN RAISE EXCEPTION ''poisoned''; END'",
        f"{begin.format('FOR EACH ROW ')} EXECUTE FUNCTION poison()",
    )


def test_the_journal_is_checked_once_a_day_and_a_broken_one_shows_on_every_heartbeat(ward, unguard_journal):
    ward.signed()
    sweep(ward.store, ward.at(1))
    with ward.store.read() as session:
        assert daily_outcome(session, job=JOURNAL_CHECK, day=ward.day(1)).startswith("whole")
    with ward.store.engine.begin() as connection:
        unguard_journal(connection)
        connection.execute(text("UPDATE journal SET actor = 'x' WHERE number = 2"))
    sweep(ward.store, ward.at(1, 9))
    assert _beat(ward).ok
    for hours in (8, 9):
        sweep(ward.store, ward.at(2, hours))
        assert not _beat(ward).ok
        assert "entry 2 was changed" in _beat(ward).message


# The scheduler


def test_one_server_sweeps_while_it_holds_the_lease_and_another_takes_over_when_it_is_gone(ward):
    ward.signed()
    now = ward.at(2)
    assert sweep_if_ours(ward.store, "a", now).noticed == 1
    assert sweep_if_ours(ward.store, "b", now + timedelta(seconds=60)) is None
    assert sweep_if_ours(ward.store, "a", now + timedelta(seconds=60)) is not None
    assert sweep_if_ours(ward.store, "b", now + timedelta(seconds=60) + LEASE) is not None


def test_the_scheduler_sweeps_at_once_and_gives_the_lease_back(ward):
    ward.signed()
    with running(ward.store, clock=lambda: ward.at(2)) as scheduler:
        _wait_for(lambda: _beat(ward) is not None)
        assert is_alive(scheduler)
        (job,) = scheduler.get_jobs()
        assert (job.misfire_grace_time, job.coalesce, job.max_instances) == (None, True, 1)
        assert job.trigger.interval == timedelta(seconds=60)
        assert scheduler.timezone is UTC
    assert not is_alive(scheduler)
    assert len(_known(ward)) == 1
    assert sweep_if_ours(ward.store, "b", ward.at(2)) is not None


def test_two_servers_started_at_once_sweep_as_one(ward):
    ward.signed()
    with (
        running(ward.store, clock=lambda: ward.at(2)) as one,
        running(ward.store, clock=lambda: ward.at(2)) as two,
    ):
        _wait_for(lambda: _beat(ward) is not None)
        assert is_alive(one)
        assert is_alive(two)
    assert len(_known(ward)) == 1


def test_a_sweep_that_fails_is_logged_and_the_scheduler_lives_on(store, caplog):
    with store.engine.begin() as connection:
        connection.execute(text("DROP TABLE trip_transition"))
    with running(store) as scheduler:
        _wait_for(lambda: "the sweep failed" in caplog.text)
        assert is_alive(scheduler)


def test_the_last_sign_of_life_is_none_before_the_first_sweep(store):
    with store.read() as session:
        assert last_heartbeat(session) is None


def test_a_change_by_the_program_itself_is_signed_as_such(ward):
    ward.signed()
    sweep(ward.store, ward.at(2))
    with ward.store.read() as session:
        newest = journal_of(session, "patient:K-1")[-1]
    assert (newest.actor, newest.action) == ("system", "visit turned overdue")
    assert newest.actor != Actor("sen").login


def _wait_for(condition, seconds: float = 120) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)
