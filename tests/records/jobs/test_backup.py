"""Backups: verified, kept by rule, restored without destroying anything."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta

import pyrage
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from followup.errors import FollowupError
from followup.records.jobs.backup import backups, prune, take_backup, to_keep, verify_file
from followup.records.jobs.proof import proof_holds
from followup.records.jobs.restoring import Restoring, restore, restore_into
from followup.records.people.patients import patient_by_code
from followup.records.store.copying import fingerprints
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.journal import newest_seal
from followup.records.store.migrations import schema_state
from followup.records.store.store import Store
from followup.records.views import SYSTEM

NOW = datetime(2027, 3, 1, 8, 30, tzinfo=UTC)


def put_back(path, target, now, **more):
    """Put a backup back as the program itself; where what was there is kept."""
    return restore(path, target, Restoring(SYSTEM, now, **more)).kept


def _has(path, code: str) -> bool:
    store = Store.open(sqlite_url(path))
    try:
        with store.read() as session:
            return patient_by_code(session, code) is not None
    finally:
        store.close()


def test_a_backup_holds_everything_and_names_the_journals_newest_hash(ward, tmp_path):
    ward.signed()
    with ward.store.read() as session:
        seal = newest_seal(session)
    taken = take_backup(ward.store.engine, tmp_path / "b", ward.now)
    assert (taken.journal, taken.encrypted) == (seal, False)
    assert _has(taken.path, "K-1")
    assert backups(tmp_path / "b") == (taken,)
    note = json.loads(taken.path.with_name(f"{taken.path.name}.note.json").read_text())
    assert note["journal"]["hash"] == seal.hash


def test_a_backup_is_taken_while_others_write(ward, tmp_path):
    with ward.store.write(ward.counsellor, ward.now) as unit:
        unit.log("something", "clinic")
        taken = take_backup(ward.store.engine, tmp_path, ward.now)
    assert verify_file(taken.path)[1].entries == taken.journal.entries


def test_an_encrypted_backup_shows_nothing_and_opens_with_its_passphrase_alone(sqlite_ward, tmp_path):
    ward = sqlite_ward
    ward.signed()
    taken = take_backup(ward.store.engine, tmp_path, ward.now, passphrase="four plain words here")
    assert taken.path.suffix == ".age"
    assert b"Wanjiru" not in taken.path.read_bytes()
    target = tmp_path / "restored.db"
    for wrong in ("", "another one"):
        with pytest.raises(FollowupError) as caught:
            put_back(taken.path, target, ward.now, passphrase=wrong)
        assert caught.value.code == "backup.passphrase"
        assert not target.exists()
    put_back(taken.path, target, ward.now, passphrase="four plain words here")
    assert _has(target, "K-1")


def test_restoring_keeps_what_was_there(sqlite_ward, tmp_path):
    taken = take_backup(sqlite_ward.store.engine, tmp_path / "b", sqlite_ward.now)
    sqlite_ward.signed("K-2")
    sqlite_ward.store.close()
    target = tmp_path / "followup.db"
    kept = put_back(taken.path, target, sqlite_ward.now)
    assert not _has(target, "K-2")
    assert _has(kept, "K-2")
    again = put_back(taken.path, target, sqlite_ward.now)
    assert again != kept
    assert _has(kept, "K-2")


@pytest.mark.parametrize("damage", ["cut", "noise", "empty", "other", "journal"])
def test_a_broken_backup_is_refused_and_nothing_is_touched(sqlite_ward, tmp_path, damage):
    sqlite_ward.signed()
    path = take_backup(sqlite_ward.store.engine, tmp_path / "b", sqlite_ward.now).path
    content = path.read_bytes()
    if damage == "journal":
        engine = make_engine(sqlite_url(path), pooled=False)
        with engine.begin() as connection:
            connection.execute(text("DROP TRIGGER journal_no_delete"))
            connection.execute(text("DELETE FROM journal WHERE number > 2"))
        with engine.connect() as connection:
            connection.connection.driver_connection.execute("PRAGMA journal_mode=DELETE")
        engine.dispose()
    else:
        path.write_bytes(
            {
                "cut": content[:5000],
                "noise": content[:3000] + b"x" * 60000 + content[63000:],
                "empty": b"",
                "other": b"hello",
            }[damage]
        )
    target = tmp_path / "followup.db"
    before = target.read_bytes()
    with pytest.raises(FollowupError) as caught:
        put_back(path, target, sqlite_ward.now)
    assert caught.value.code == "backup.broken"
    assert target.read_bytes() == before
    assert sorted(p.name for p in tmp_path.glob("*.part*")) == []


def test_a_newer_backup_is_refused_and_an_older_one_brought_up_to_date(sqlite_ward, tmp_path):
    taken = take_backup(sqlite_ward.store.engine, tmp_path / "b", sqlite_ward.now)
    engine = make_engine(sqlite_url(taken.path), pooled=False)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    engine.dispose()
    with pytest.raises(FollowupError) as caught:
        put_back(taken.path, tmp_path / "x.db", sqlite_ward.now)
    assert caught.value.code == "backup.newer"
    old = make_engine(sqlite_url(tmp_path / "old.db"), pooled=False)
    from alembic import command

    from followup.records.store.migrations import _config

    with old.begin() as connection:
        config = _config()
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
    old.dispose()
    put_back(tmp_path / "old.db", tmp_path / "y.db", sqlite_ward.now, unproved=True)
    new = make_engine(sqlite_url(tmp_path / "y.db"), pooled=False)
    assert schema_state(new) == "current"
    new.dispose()


def test_a_folder_that_can_not_be_written_says_so_in_one_line(store, tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(FollowupError) as caught:
        take_backup(store.engine, tmp_path / "file", datetime(2027, 3, 1, tzinfo=UTC))
    assert caught.value.code == "backup.folder"


def test_a_busy_moment_is_not_taken_for_a_wrong_passphrase(sqlite_store, tmp_path, monkeypatch, cheap_seal):
    taken = take_backup(sqlite_store.engine, tmp_path / "b", NOW, passphrase="four plain words here")
    opened, times = pyrage.passphrase.decrypt, []

    def busy(content, passphrase):
        times.append(1)
        if len(times) < 4:
            raise pyrage.DecryptError("Excessive work parameter for passphrase.")
        return opened(content, passphrase)

    monkeypatch.setattr(pyrage.passphrase, "decrypt", busy)
    put_back(taken.path, tmp_path / "again.db", NOW, passphrase="four plain words here")
    monkeypatch.setattr("followup.records.jobs.restoring._TRIES", 0)
    with pytest.raises(FollowupError) as caught:
        put_back(taken.path, tmp_path / "third.db", NOW, passphrase="four plain words here")
    assert caught.value.code == "backup.slow"


def test_a_backup_goes_into_an_empty_postgresql_row_by_row_and_into_no_other(
    ward, blank_postgres, open_store, tmp_path
):
    ward.signed()
    taken = take_backup(ward.store.engine, tmp_path / "b", ward.now)
    there = open_store(blank_postgres())
    assert restore_into(taken.path, there.engine, Restoring(SYSTEM, ward.now)).journal == taken.journal
    with there.engine.connect() as one, ward.store.engine.connect() as other:
        here, source = fingerprints(one), fingerprints(other)
        assert here["journal"][0] == source["journal"][0] + 1
        # Nobody stays logged in; everything else is row by row the same.
        for name in ("journal", "login_session"):
            del here[name], source[name]
        assert here == source
    with pytest.raises(FollowupError) as caught:
        restore_into(taken.path, there.engine, Restoring(SYSTEM, ward.now))
    assert caught.value.code == "move.target"


DAYS = st.lists(st.dates(date(2026, 1, 1), date(2027, 12, 31)), max_size=60)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(DAYS, st.dates(date(2027, 1, 1), date(2027, 12, 31)))
def test_the_rule_keeps_seven_days_five_weeks_and_twelve_months(days, today):
    kept = to_keep(days, today)
    assert kept <= set(days)
    past = [day for day in days if day <= today]
    assert {day for day in past if (today - day).days < 7} <= kept
    if past:
        assert max(past) in kept
    assert len([day for day in kept if day <= today]) <= 7 + 5 + 12 + 1
    # Kept once, kept as long as the rule says: pruning day by day never loses what pruning at once keeps.
    assert to_keep(kept, today) == kept


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(DAYS, st.dates(date(2000, 1, 1), date(2040, 12, 31)))
def test_however_the_clock_jumps_a_day_of_it_costs_at_most_what_a_day_costs(days, wrong):
    """Pruned on any day, whatever it is: the newest stay, and no more go than were one too many."""
    past = sorted({day for day in days if day <= wrong})
    kept = to_keep(days, wrong)
    assert {day for day in days if day > wrong} <= kept
    assert set(past[-7:]) <= kept
    assert {
        max(day for day in past if day.month == last.month and day.year == last.year) for last in past[-1:]
    } <= kept
    # One more day on top of what the rule had kept takes no more than one of each kind away.
    settled = to_keep(past, wrong)
    assert len(settled - to_keep([*settled, wrong], wrong)) <= 3


def test_a_clock_two_years_ahead_deletes_no_backup_and_what_it_left_counts_for_nothing(
    sqlite_store, tmp_path
):
    for day in range(10):
        take_backup(sqlite_store.engine, tmp_path, NOW + timedelta(days=day))
        prune(tmp_path, (NOW + timedelta(days=day)).date())
    ahead = NOW + timedelta(days=730)
    take_backup(sqlite_store.engine, tmp_path, ahead)
    assert prune(tmp_path, ahead.date()) <= 1
    assert len(backups(tmp_path)) >= 7
    right = NOW + timedelta(days=11)
    taken = take_backup(sqlite_store.engine, tmp_path, right)
    prune(tmp_path, right.date())
    assert taken in backups(tmp_path)


def test_a_damaged_backup_keeps_no_whole_one_from_staying(sqlite_store, tmp_path):
    whole = take_backup(sqlite_store.engine, tmp_path, NOW)
    damaged = take_backup(sqlite_store.engine, tmp_path, NOW + timedelta(hours=1)).path
    damaged.write_bytes(damaged.read_bytes()[:-1])
    assert prune(tmp_path, (NOW + timedelta(days=1)).date()) == 0
    assert (backups(tmp_path), damaged.exists()) == ((whole,), True)


def test_a_restored_clinic_holds_no_proof_of_the_backup_any_more(sqlite_ward, tmp_path):
    taken = take_backup(sqlite_ward.store.engine, tmp_path / "b", sqlite_ward.now)
    put_back(taken.path, tmp_path / "new.db", sqlite_ward.now)
    assert proof_holds(taken.path)
    assert proof_holds(tmp_path / "new.db") is None


def test_a_stranger_in_the_folder_is_no_backup_and_is_left_alone(tmp_path):
    stranger = tmp_path / "followup-holiday.sqlite3"
    stranger.write_text("x")
    assert backups(tmp_path) == ()
    assert prune(tmp_path, date(2027, 3, 1)) == 0
    assert stranger.exists()
