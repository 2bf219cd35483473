"""Every trouble, provoked, is found under its number; at a sound clinic nothing is."""

from __future__ import annotations

import json
from datetime import timedelta
from types import SimpleNamespace

import pytest
from sqlalchemy import text

from followup.errors import FollowupError
from followup.recall.codes.codes import create_keyring
from followup.recall.jobs import health
from followup.recall.jobs.health import findings
from followup.recall.jobs.scheduler import work
from followup.recall.jobs.sweep import sweep
from followup.records.jobs.upkeep import note_heartbeat, take_lease
from followup.records.plans.protocols import sign_protocol
from followup.records.store.durable import write_whole

NOON = 6.5


@pytest.fixture
def sound(ward, in_hand, agreed, place_of):
    """A clinic that has done its day's work, and a backup of it that looks encrypted."""
    plan = ward.signed()
    in_hand(ward, plan)
    agreed(ward, plan.patient_id)
    place = place_of(ward)
    place.folder.mkdir(mode=0o700)
    create_keyring(place.folder / "keys.json")
    protocol = place.protocol
    with ward.store.write(ward.surgeon, ward.now) as unit:
        sign_protocol(unit, hash=protocol.hash, name=protocol.name, version=protocol.version)
    now = ward.at(4, NOON)
    ward.log_in(ward.at(4, 4))
    sweep(ward.store, now)
    work(place, "a", lambda: now)
    # Encrypting takes a second each time, and only the name is looked at.
    (backup,) = place.backups.glob("*.sqlite3")
    for path in place.backups.iterdir():
        path.rename(path.with_name(path.name.replace(backup.name, f"{backup.name}.age")))
    return SimpleNamespace(ward=ward, place=place, now=now, store=ward.store)


def told(clinic) -> dict[str, str]:
    found = findings(clinic.place, clinic.place.folder / "keys.json", clinic.now)
    assert all(one.fix for one in found)
    return {one.code: one.what for one in found}


@pytest.fixture
def roomy(monkeypatch):
    """A disk with room, however full that of this computer is."""
    monkeypatch.setattr(health.shutil, "disk_usage", lambda _: SimpleNamespace(free=10**12))


pytestmark = pytest.mark.usefixtures("roomy")


def test_nothing_is_found_at_a_sound_clinic(sound):
    assert told(sound) == {}


def _no_pulse(clinic, _patch) -> None:
    clinic.now += timedelta(minutes=4)


def _clock_jumped(clinic, _patch) -> None:
    clinic.now += timedelta(days=12)
    sweep(clinic.store, clinic.now)


def _backup_ahead(clinic, _patch) -> None:
    """As a clock two years ahead left one: it would be the newest until then."""
    for path in list(clinic.place.backups.iterdir()):
        other = path.with_name(path.name.replace("2027", "2029"))
        write_whole(other, path.read_bytes().replace(b'"at": "2027', b'"at": "2029'))


def _backup_damaged(clinic, _patch) -> None:
    (backup,) = clinic.place.backups.glob("*.age")
    content = bytearray(backup.read_bytes())
    content[len(content) // 2] ^= 1
    backup.write_bytes(content)


def _plan_changed(clinic, _patch) -> None:
    with clinic.store.engine.begin() as connection:
        connection.execute(text("UPDATE care_plan SET body = replace(body, 'week', 'weak')"))


def _lease_far_ahead(clinic, _patch) -> None:
    with clinic.store.upkeep(clinic.now) as unit:
        take_lease(unit, name="sweep", owner="a", lifetime=timedelta(hours=1))


def _daily_work_fails(clinic, _patch) -> None:
    with clinic.store.upkeep(clinic.now) as unit:
        note_heartbeat(unit, name="daily work", ok=False, rows=0, message="nightly backup: disk full")


def _unknown_zone(clinic, _patch) -> None:
    with clinic.store.engine.begin() as connection:
        connection.execute(text("UPDATE clinic SET zone = 'Mars/Olympus'"))


def _written_ahead(clinic, _patch) -> None:
    with clinic.store.write(clinic.ward.counsellor, clinic.now + timedelta(minutes=6)) as unit:
        unit.log("written by a clock that ran ahead", "clinic")


def _seal_of_another(clinic, _patch) -> None:
    clinic.place.seal.write_text(json.dumps({"entries": 2, "hash": "f" * 64}))


def _protocol_not_signed(clinic, _patch) -> None:
    with clinic.store.engine.begin() as connection:
        connection.execute(text("DELETE FROM protocol_signature"))


def _message_given_up(clinic, _patch) -> None:
    with clinic.store.engine.begin() as connection:
        changed = connection.execute(text("UPDATE message SET state = 'failed', last_error = 'refused'"))
        assert changed.rowcount


def _little_room(clinic, patch) -> None:
    patch.setattr(health.shutil, "disk_usage", lambda _: SimpleNamespace(free=900_000_000))


def _no_room(clinic, patch) -> None:
    patch.setattr(health.shutil, "disk_usage", lambda _: SimpleNamespace(free=100_000_000))


def _font_missing(clinic, patch) -> None:
    def missing(family: str) -> None:
        raise FollowupError("font.missing", f"{family} is not there")

    patch.setattr(health, "font_file", missing)


def _keys_missing(clinic, _patch) -> None:
    (clinic.place.folder / "keys.json").unlink()


def _backups_old(clinic, _patch) -> None:
    clinic.now += timedelta(hours=51)


def _backups_gone(clinic, _patch) -> None:
    for path in clinic.place.backups.iterdir():
        path.unlink()


def _backup_in_plain(clinic, _patch) -> None:
    (note,) = clinic.place.backups.glob("*.note.json")
    (backup,) = clinic.place.backups.glob("*.age")
    note.rename(note.with_name(note.name.replace(".age", "")))
    backup.rename(backup.with_suffix(""))


@pytest.mark.parametrize(
    ("trouble", "code", "says"),
    [
        (_no_pulse, "E01", "the sweep is not running"),
        (_lease_far_ahead, "W02", "far ahead"),
        (_daily_work_fails, "E03", "nightly backup: disk full"),
        (_unknown_zone, "E04", "Mars/Olympus"),
        (_written_ahead, "E05", "lies ahead of this clock"),
        (_seal_of_another, "E06", "sealed elsewhere"),
        (_protocol_not_signed, "W07", "not signed"),
        (_message_given_up, "W08", "refused"),
        (_little_room, "W09", "900 MB"),
        (_no_room, "E09", "100 MB"),
        (_font_missing, "E10", "is not there"),
        (_keys_missing, "E11", "keys.json"),
        (_backups_old, "E12", "hours old"),
        (_backups_gone, "E12", "no backup"),
        (_backup_in_plain, "W13", "not encrypted"),
        (_clock_jumped, "E14", "the clock shows 2027-03-17"),
        (_backup_ahead, "W15", "dated ahead"),
        (_backup_damaged, "E16", "its hash is not the one"),
        (_plan_changed, "E06", "plan 1 is not the one that was signed"),
    ],
)
def test_a_trouble_is_found_under_its_number(sound, monkeypatch, trouble, code, says):
    trouble(sound, monkeypatch)
    found = told(sound)
    assert says in found[code]
    # Two days without a server stop the sweep and leave messages lying too; nothing else brings a second.
    brings = {_backups_old: {"E01", "W08"}, _clock_jumped: {"E12", "W08"}, _backup_damaged: {"E12"}}
    assert set(found) - brings.get(trouble, set()) == {code}
