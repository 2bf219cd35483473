"""What the day's work leaves on the disk: who may read it, when old backups go, and when one is too old."""

from __future__ import annotations

import csv
import os
import stat
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from queue_of_messages import messages_of_day

from followup.recall.codes.keyring import create_keyring
from followup.recall.jobs import daily, health
from followup.recall.jobs.daily import JOBS, keep_seal, run_due
from followup.recall.messages.channels import FolderSender
from followup.recall.messages.sending import queue_day
from followup.records.jobs.backup import Backup
from followup.records.jobs.upkeep import note_heartbeat
from followup.records.store.journal import Seal

NOON = 6.5
TAKEN = Backup(Path("x"), datetime(2027, 3, 1, tzinfo=UTC), 5, Seal(0, "0" * 64), encrypted=True)
TICK = timedelta(microseconds=1)


@pytest.fixture
def open_to_all():
    """A computer on which new files are everybody's."""
    before = os.umask(0)
    yield
    os.umask(before)


def _modes(folder):
    return {stat.S_IMODE(path.stat().st_mode) for path in folder.iterdir()}


def test_lists_and_the_seal_are_their_owners_alone_and_no_cell_of_them_runs(
    sqlite_ward, in_hand, place_of, open_to_all, monkeypatch
):
    work = [job for job in JOBS if job.name not in ("nightly backup", "integrity check")]
    monkeypatch.setattr(daily, "JOBS", tuple(work))
    number = sqlite_ward.enter(sqlite_ward.record(name="=HYPERLINK(1)"))
    in_hand(sqlite_ward, sqlite_ward.sign(sqlite_ward.draft(number).id))
    place = place_of(sqlite_ward)
    with sqlite_ward.store.read() as session:
        keep_seal(place.seal, session)
    for day in (6, 7):
        assert run_due(place, sqlite_ward.at(day, NOON)) == ()
    for folder in (place.folder, place.lists):
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert _modes(place.lists) == {0o600}
    assert stat.S_IMODE(place.seal.stat().st_mode) == 0o600
    names = {}
    for path in place.lists.iterdir():
        with path.open(newline="") as file:
            names[path.name] = {line["name"] for line in csv.DictReader(file)}
    assert names == {
        "2027-03-07-calls-missed.csv": {"'=HYPERLINK(1)"},
        "2027-03-07-calls-reminder.csv": {"'=HYPERLINK(1)"},
        "2027-03-07-due.csv": set(),
        "2027-03-07-to-reach.csv": {"'=HYPERLINK(1)"},
        "2027-03-07-pharmacy.csv": set(),
        "2027-03-08-calls-missed.csv": {"'=HYPERLINK(1)"},
        "2027-03-08-due.csv": {"'=HYPERLINK(1)"},
        "2027-03-08-to-reach.csv": {"'=HYPERLINK(1)"},
        "2027-03-08-pharmacy.csv": set(),
    }


def test_a_message_in_the_outbox_and_a_new_key_are_their_owners_alone(
    sqlite_ward, in_hand, agreed, protocol, tmp_path, open_to_all
):
    plan = sqlite_ward.signed()
    in_hand(sqlite_ward, plan)
    agreed(sqlite_ward, plan.patient_id)
    queue_day(sqlite_ward.store, "reminder", sqlite_ward.day(6), sqlite_ward.at(6, NOON), protocol)
    with sqlite_ward.store.read() as session:
        (message,) = messages_of_day(session, sqlite_ward.day(6))
    outbox = tmp_path / "outbox"
    FolderSender(outbox).send(message)
    create_keyring(outbox / "keys.json")
    assert stat.S_IMODE(outbox.stat().st_mode) == 0o700
    assert _modes(outbox) == {0o600}
    # The key of a message is the name of its file.
    assert {path.name for path in outbox.iterdir()} == {f"{message.key}.json", "keys.json"}
    assert set(message.key) <= set("rsm-0123456789")


@pytest.mark.parametrize(
    ("since", "deleted"),
    [(None, False), (timedelta(0), True), (timedelta(days=2), True), (timedelta(days=2) + TICK, False)],
)
@pytest.mark.parametrize("ahead", [False, True])
def test_old_backups_go_only_where_the_work_went_on_within_two_days(
    sqlite_ward, place_of, monkeypatch, since, deleted, ahead
):
    """Further away, before or ahead, the clock may have jumped."""
    pruned, now, place = [], sqlite_ward.at(10), place_of(sqlite_ward)
    taken = replace(TAKEN, path=place.backups / "followup-x.sqlite3")
    monkeypatch.setattr(daily, "take_backup", lambda *_, **__: taken)
    monkeypatch.setattr(daily, "prune", lambda folder, day: pruned.append((folder, day)) or 3)
    if since is not None:
        with sqlite_ward.store.upkeep(now + since if ahead else now - since) as unit:
            note_heartbeat(unit, name="daily work", ok=True, rows=0)
    said = daily._backup(place, sqlite_ward.day(10), now)
    assert pruned == ([(place.backups, sqlite_ward.day(10))] if deleted else [])
    assert said == "followup-x.sqlite3: 5 rows, verified; " + (
        "3 old ones deleted"
        if deleted
        else "no old one was deleted: the program was not at work in the two days before"
    )


@pytest.mark.parametrize(
    ("age", "encrypted", "codes"),
    [
        (None, True, {"E12"}),
        (timedelta(hours=50), True, set()),
        (timedelta(hours=50) + TICK, True, {"E12"}),
        (timedelta(hours=1), False, {"W13"}),
        (timedelta(hours=51), False, {"E12", "W13"}),
        (-timedelta(minutes=5), True, set()),
        # Dated ahead of this clock it does not count.
        (-timedelta(minutes=5) - TICK, True, {"W15", "E12"}),
    ],
)
def test_a_backup_of_more_than_fifty_hours_is_too_old_and_one_in_the_clear_is_named(
    tmp_path, monkeypatch, age, encrypted, codes
):
    now = datetime(2027, 3, 4, 8, 30, tzinfo=UTC)
    found = [] if age is None else [replace(TAKEN, at=now - age, encrypted=encrypted)]
    monkeypatch.setattr("followup.recall.jobs.health.backups", lambda folder: tuple(found))
    assert {one.code for one in health._backups(SimpleNamespace(backups=tmp_path), now)} == codes


def test_the_lists_of_fourteen_days_stay_and_older_names_and_telephones_go(
    sqlite_ward, place_of, monkeypatch
):
    """However the clock jumps: days are counted by the lists that are there."""
    monkeypatch.setattr(daily, "JOBS", tuple(job for job in JOBS if job.name == "morning list"))
    place = place_of(sqlite_ward)
    place.lists.mkdir(parents=True)
    ours, other = place.lists / "2019-01-01-calls-reminder.csv", place.lists / "2019-01-01 my own.csv"
    ahead, none = place.lists / "2999-01-01-due.csv", place.lists / "2027-02-31-due.csv"
    for path in (ours, other, ahead, none):
        path.write_text("Wanjiru")
    for day in range(1, 14):
        assert run_due(place, sqlite_ward.at(day, NOON)) == ()
    assert ours.exists()
    assert run_due(place, sqlite_ward.at(14, NOON)) == ()
    assert not ours.exists()
    assert run_due(place, sqlite_ward.at(400, NOON)) == ()
    days = sorted(
        {path.name[:10] for path in place.lists.glob("????-??-??-*.csv")} - {"2999-01-01", "2027-02-31"}
    )
    assert len(days) == 14
    assert days[0] == sqlite_ward.day(2).isoformat()
    assert other.exists()
    assert ahead.exists()
    assert none.exists()
