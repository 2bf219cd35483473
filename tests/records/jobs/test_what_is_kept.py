"""Which backups stay, and who may read what the program writes."""

from __future__ import annotations

import hashlib
import json
import os
import stat
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pyrage
import pytest

from followup.cli.files import write_out
from followup.errors import FollowupError
from followup.records.jobs import backup as backing_up
from followup.records.jobs.backup import backups, damaged_backups, prune, take_backup, to_keep
from followup.records.jobs.restoring import Restoring, restore
from followup.records.store.durable import write_whole
from followup.records.views import SYSTEM

NOW = datetime(2027, 3, 31, 1, 30, tzinfo=UTC)


def put_back(path, target, now, **more):
    """Put a backup back as the program itself; where what was there is kept."""
    return restore(path, target, Restoring(SYSTEM, now, **more)).kept


def _days(*texts):
    return {date.fromisoformat(text) for text in texts}


def _each(first, last):
    start, end = (date.fromisoformat(text) for text in (first, last))
    return {start + timedelta(days=number) for number in range((end - start).days + 1)}


# Seven days, the last of five weeks from Monday to Sunday, the last of twelve months. 31 March 2027 is a
# Wednesday.
EVERY_NIGHT = _days(
    *("2027-03-25", "2027-03-26", "2027-03-27", "2027-03-28", "2027-03-29", "2027-03-30", "2027-03-31"),
    *("2027-03-21", "2027-03-14", "2027-03-07"),
    *("2027-02-28", "2027-01-31", "2026-12-31", "2026-11-30", "2026-10-31", "2026-09-30"),
    *("2026-08-31", "2026-07-31", "2026-06-30", "2026-05-31", "2026-04-30"),
)
KEPT = [
    ("none", set(), set()),
    ("every night of two years", _each("2025-04-01", "2027-03-31"), EVERY_NIGHT),
    ("seven nights, all of them", _each("2027-03-15", "2027-03-21"), _each("2027-03-15", "2027-03-21")),
    ("eight: the first goes", _each("2027-03-15", "2027-03-22"), _each("2027-03-16", "2027-03-22")),
    (
        "four weeks of which one has every night: all of them",
        {*_days("2027-02-07", "2027-02-14", "2027-02-21"), *_each("2027-03-01", "2027-03-07")},
        {*_days("2027-02-07", "2027-02-14", "2027-02-21"), *_each("2027-03-01", "2027-03-07")},
    ),
    (
        "seven weeks: five of them, and the last of the month before",
        {*_each("2027-03-22", "2027-03-28"), *_days("2027-03-21", "2027-03-14", "2027-03-07"),
         *_days("2027-02-26", "2027-02-21", "2027-02-14")},
        {*_each("2027-03-22", "2027-03-28"), *_days("2027-03-21", "2027-03-14", "2027-03-07"),
         *_days("2027-02-26")},
    ),
    (
        "thirteen months: the first goes",
        {*_each("2027-03-25", "2027-03-31"), *(date(2026, month, 15) for month in range(3, 13)),
         *_days("2027-01-15", "2027-02-15")},
        {*_each("2027-03-25", "2027-03-31"), *(date(2026, month, 15) for month in range(4, 13)),
         *_days("2027-01-15", "2027-02-15")},
    ),
]  # fmt: skip


@pytest.mark.parametrize(("what", "days", "kept"), KEPT)
def test_seven_days_five_weeks_and_twelve_months_stay(what, days, kept):
    assert to_keep(days, date(2027, 3, 31)) == kept, what
    # What lies ahead of today stays and counts for nothing.
    ahead = date(2027, 4, 1)
    assert to_keep({*days, ahead}, date(2027, 3, 31)) == {*kept, ahead}, what


def _backup_of(folder, at, content=b"rows"):
    """A file with its note, as if it had been taken ``at``."""
    path = folder / f"followup-{at:%Y%m%dT%H%M%SZ}.sqlite3"
    path.write_bytes(content)
    note = {
        "at": at.isoformat(),
        "rows": 1,
        "journal": {"entries": 0, "hash": "0" * 64},
        "sha256": hashlib.sha256(b"rows").hexdigest(),
    }
    path.with_name(f"{path.name}.note.json").write_text(json.dumps(note))
    return path


def _left(folder):
    return sorted(path.name[9:24] for path in folder.glob("*.sqlite3"))


def test_a_year_of_nightly_backups_leaves_what_the_rule_says_each_with_its_note(tmp_path):
    for day in sorted(_each("2026-04-01", "2027-03-31")):
        _backup_of(tmp_path, datetime(day.year, day.month, day.day, 1, 30, tzinfo=UTC))
        prune(tmp_path, day)
    kept = {day for day in EVERY_NIGHT if day >= date(2026, 4, 1)}
    assert _left(tmp_path) == sorted(f"{day:%Y%m%d}T013000" for day in kept)
    assert len(list(tmp_path.iterdir())) == 2 * len(kept)


def test_of_one_day_the_newest_stays_and_of_today_all(tmp_path):
    for day in (30, 31):
        for hour in (1, 9, 17):
            _backup_of(tmp_path, datetime(2027, 3, day, hour, tzinfo=UTC))
    assert prune(tmp_path, date(2027, 3, 31)) == 2
    assert _left(tmp_path) == ["20270330T170000", "20270331T010000", "20270331T090000", "20270331T170000"]


def test_a_broken_newest_pushes_out_no_whole_one_and_is_never_deleted(tmp_path):
    whole = [_backup_of(tmp_path, NOW - timedelta(days=number)) for number in range(1, 9)]
    broken = _backup_of(tmp_path, NOW, b"row")
    assert damaged_backups(tmp_path) == (broken,)
    assert [one.path for one in backups(tmp_path)] == whole
    # 23 to 30 March: eight whole ones, of which the first goes because seven newer ones are whole.
    assert prune(tmp_path, NOW.date()) == 1
    assert _left(tmp_path) == [f"202703{day}T013000" for day in range(24, 32)]
    for number in range(1, 40):
        prune(tmp_path, NOW.date() + timedelta(days=number))
    assert len(backups(tmp_path)) == 7
    assert broken.exists()


# Who may read it: the owner alone, whatever the computer's own habit is.


@pytest.fixture
def open_to_all():
    """A computer on which new files are everybody's."""
    before = os.umask(0)
    yield
    os.umask(before)


def _mode(path):
    return stat.S_IMODE(path.stat().st_mode)


@pytest.mark.parametrize("passphrase", ["", "four plain words here"])
def test_a_backup_is_its_owners_alone_from_the_first_byte_on(
    sqlite_ward, tmp_path, open_to_all, monkeypatch, passphrase
):
    write, begun = backing_up._write, []

    def watched(engine, draft):
        begun.append(_mode(draft))
        write(engine, draft)
        begun.append(_mode(draft))

    monkeypatch.setattr(backing_up, "_write", watched)
    # The rest is tested where it belongs; sealing a file with a passphrase takes seconds.
    monkeypatch.setattr(pyrage.passphrase, "encrypt", lambda content, _: b"age" + content)
    taken = take_backup(sqlite_ward.store.engine, tmp_path / "b", NOW, passphrase=passphrase)
    assert begun == [0o600, 0o600]
    assert _mode(tmp_path / "b") == 0o700
    assert {path.name: _mode(path) for path in (tmp_path / "b").iterdir()} == {
        taken.path.name: 0o600, f"{taken.path.name}.note.json": 0o600,
    }  # fmt: skip
    assert (taken.encrypted, taken.path.suffix) == ((True, ".age") if passphrase else (False, ".sqlite3"))
    assert taken.path.read_bytes().startswith(b"age" if passphrase else b"SQLite format 3\0")


def test_a_restored_database_is_its_owners_alone_and_so_is_the_one_kept_aside(
    sqlite_ward, tmp_path, open_to_all
):
    taken = take_backup(sqlite_ward.store.engine, tmp_path / "b", NOW)
    target = tmp_path / "new" / "followup.db"
    assert put_back(taken.path, target, NOW) is None
    kept = put_back(taken.path, target, NOW)
    assert [_mode(one) for one in (target.parent, target, kept)] == [0o700, 0o600, 0o600]
    assert sorted(path.name for path in target.parent.iterdir()) == sorted([target.name, kept.name])


@pytest.mark.parametrize("write", [write_whole, write_out])
def test_a_file_that_is_written_whole_is_its_owners_alone(tmp_path, open_to_all, write):
    path = tmp_path / "list.csv"
    path.write_text("open to all")
    write(path, b"whole")
    assert (_mode(path), path.read_bytes(), len(list(tmp_path.iterdir()))) == (0o600, b"whole", 1)


def test_a_file_for_everybody_to_read_is_written_whole_too(tmp_path, open_to_all):
    path = tmp_path / "sheet.po"
    write_whole(path, b"whole", mode=0o644)
    assert (_mode(path), path.read_bytes(), len(list(tmp_path.iterdir()))) == (0o644, b"whole", 1)


def test_a_new_file_never_takes_the_place_of_one_that_is_there(tmp_path):
    path = tmp_path / "keys.json"
    write_whole(path, b"first", new=True)
    with pytest.raises(FileExistsError):
        write_whole(path, b"second", new=True)
    assert [(one.name, one.read_bytes()) for one in tmp_path.iterdir()] == [("keys.json", b"first")]


# What is not whole is not put back.


def _change(path, **more):
    note = path.with_name(f"{path.name}.note.json")
    said = json.loads(note.read_text())
    note.write_text(json.dumps({**said, **more}))


@pytest.mark.parametrize(
    ("what", "code"),
    [
        ("no such file", "backup.missing"),
        ("a folder", "backup.missing"),
        ("another hash in the note", "backup.broken"),
        ("no hash in the note", "backup.broken"),
        ("one entry more in the note", "backup.broken"),
        ("another journal in the note", "backup.broken"),
        ("an empty database", "backup.broken"),
    ],
)
def test_what_is_not_the_whole_backup_is_not_put_back(sqlite_ward, tmp_path, what, code):
    sqlite_ward.signed()
    taken = take_backup(sqlite_ward.store.engine, tmp_path / "b", NOW)
    path, seal = taken.path, {"entries": taken.journal.entries, "hash": taken.journal.hash}
    if what == "no such file":
        path = path.with_name("followup-other.sqlite3")
    elif what == "a folder":
        path = path.parent
    elif what == "another hash in the note":
        _change(path, sha256="0" * 64)
    elif what == "no hash in the note":
        _change(path, sha256=None)
    elif what == "one entry more in the note":
        _change(path, journal={**seal, "entries": seal["entries"] + 1})
    elif what == "another journal in the note":
        _change(path, journal={**seal, "hash": "f" * 64})
    else:
        path = tmp_path / "empty.sqlite3"
        path.write_bytes(b"")
    target = tmp_path / "target.db"
    target.write_bytes(b"as it was")
    with pytest.raises(FollowupError) as caught:
        put_back(path, target, NOW)
    assert (caught.value.code, target.read_bytes()) == (code, b"as it was")
    assert list(tmp_path.glob("target.db?*")) == []


def test_a_note_of_the_right_file_is_no_obstacle_and_none_is_needed(sqlite_ward, tmp_path):
    taken = take_backup(sqlite_ward.store.engine, tmp_path / "b", NOW)
    assert backups(tmp_path / "b") == (replace(taken, at=NOW),)
    put_back(taken.path, tmp_path / "one.db", NOW)
    taken.path.with_name(f"{taken.path.name}.note.json").unlink()
    put_back(taken.path, tmp_path / "two.db", NOW)
    assert backups(tmp_path / "b") == ()
