"""When a trouble is one: just before, at and after each limit of the checks."""

from __future__ import annotations

import hashlib
import json
from datetime import datetime, timedelta
from types import SimpleNamespace

import pytest

from followup.recall.codes.codes import create_keyring
from followup.recall.jobs import health
from followup.recall.jobs.health import findings, pulse
from followup.records.jobs.upkeep import note_heartbeat, take_lease
from followup.records.plans.protocols import sign_protocol

SECOND, MINUTE, HOUR = timedelta(seconds=1), timedelta(minutes=1), timedelta(hours=1)
WATCHED = ("E01", "W02", "E03", "E05", "E09", "W09", "E12", "W13", "W15")


@pytest.fixture
def sound(sqlite_ward, place_of, monkeypatch):
    """A clinic in which nothing is found: a sweep just now, an encrypted backup an hour old."""
    place, now = place_of(sqlite_ward), sqlite_ward.at(4)
    place.folder.mkdir(mode=0o700)
    create_keyring(place.folder / "keys.json")
    with sqlite_ward.store.write(sqlite_ward.surgeon, sqlite_ward.now) as unit:
        sign_protocol(unit, hash=place.protocol.hash, name="sample", version="1")
    monkeypatch.setattr(health, "families", list)
    clinic = SimpleNamespace(ward=sqlite_ward, place=place, now=now, free=10**12)
    monkeypatch.setattr(health.shutil, "disk_usage", lambda _: SimpleNamespace(free=clinic.free))
    _beat(clinic, "sweep", timedelta(0))
    _backup(clinic, HOUR)
    return clinic


def _beat(clinic, name: str, age: timedelta, *, ok: bool = True) -> None:
    with clinic.ward.store.upkeep(clinic.now - age) as unit:
        note_heartbeat(unit, name=name, ok=ok, rows=0)


def _backup(clinic, age: timedelta, *, name: str = "sqlite3.age") -> None:
    """A file that looks like a backup; what was there goes."""
    folder, at = clinic.place.backups, clinic.now - age
    folder.mkdir(exist_ok=True, mode=0o700)
    for old in folder.iterdir():
        old.unlink()
    file = folder / f"followup-{at:%Y%m%dT%H%M%SZ}.{name}"
    file.write_bytes(b"content")
    note = {"at": at.isoformat(), "rows": 1, "journal": {"entries": 1, "hash": "ab"}}
    note["sha256"] = hashlib.sha256(b"content").hexdigest()
    (folder / f"{file.name}.note.json").write_text(json.dumps(note))


def _lease(clinic, ahead: timedelta) -> None:
    with clinic.ward.store.upkeep(clinic.now) as unit:
        take_lease(unit, name="sweep", owner="a", lifetime=ahead)


def _written(clinic, ahead: timedelta) -> None:
    with clinic.ward.store.write(clinic.ward.counsellor, clinic.now + ahead) as unit:
        unit.log("somebody works", "clinic")


def _free(clinic, left: int) -> None:
    clinic.free = left


def _found(clinic) -> list[str]:
    found = findings(clinic.place, clinic.place.folder / "keys.json", clinic.now)
    return [one.code for one in found if one.code in WATCHED]


# What is provoked, how far, and the numbers under which it is found.
LIMITS = [
    ("no sign of life for", lambda c, x: _beat(c, "sweep", x), 3 * MINUTE - SECOND, []),
    ("no sign of life for", lambda c, x: _beat(c, "sweep", x), 3 * MINUTE, []),
    ("no sign of life for", lambda c, x: _beat(c, "sweep", x), 3 * MINUTE + SECOND, ["E01"]),
    ("a sign of life ahead by", lambda c, x: _beat(c, "sweep", -x), 5 * MINUTE, []),
    ("a sign of life ahead by", lambda c, x: _beat(c, "sweep", -x), 5 * MINUTE + SECOND, ["E01"]),
    ("a sweep that failed before", lambda c, x: _beat(c, "sweep", x, ok=False), MINUTE, ["E01"]),
    ("daily work that went well", lambda c, x: _beat(c, "daily work", x), 9 * HOUR, []),
    ("daily work that failed before", lambda c, x: _beat(c, "daily work", x, ok=False), MINUTE, ["E03"]),
    ("a lease that runs for", _lease, 30 * MINUTE, []),
    ("a lease that runs for", _lease, 30 * MINUTE + SECOND, ["W02"]),
    ("an entry written ahead by", _written, 5 * MINUTE, []),
    ("an entry written ahead by", _written, 5 * MINUTE + SECOND, ["E05"]),
    ("a backup as old as", _backup, 50 * HOUR - SECOND, []),
    ("a backup as old as", _backup, 50 * HOUR, []),
    ("a backup as old as", _backup, 50 * HOUR + SECOND, ["E12"]),
    ("a backup ahead by", lambda c, x: _backup(c, -x), 5 * MINUTE, []),
    ("a backup ahead by", lambda c, x: _backup(c, -x), 5 * MINUTE + SECOND, ["E12", "W15"]),
    ("a backup in plain", lambda c, x: _backup(c, x, name="sqlite3"), HOUR, ["W13"]),
    ("bytes left", _free, 1_000_000_000, []),
    ("bytes left", _free, 999_999_999, ["W09"]),
    ("bytes left", _free, 200_000_000, ["W09"]),
    ("bytes left", _free, 199_999_999, ["E09"]),
]


@pytest.mark.parametrize(("what", "provoke", "far", "codes"), LIMITS)
def test_a_trouble_is_one_from_its_limit_on(sound, what, provoke, far, codes):
    assert _found(sound) == []
    provoke(sound, far)
    assert _found(sound) == codes, f"{what} {far}"


def test_a_sweep_that_never_ran_is_told_from_one_that_stopped(sqlite_store):
    now = datetime.fromisoformat("2027-03-01T08:30:00+00:00")
    with sqlite_store.read() as session:
        assert (pulse(session, now).state, pulse(session, now).age) == ("the sweep has never run", None)
