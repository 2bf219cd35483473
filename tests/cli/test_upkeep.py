"""Backups, moves, the journal, sites and messages from the command line."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from followup.records.engine import make_engine, sqlite_url
from followup.records.store import Store
from followup.records.upkeep import release_lease, take_lease

INIT = (
    "init", "--name", "Riverbend Eye Clinic", "--code", "RBE", "--phone-day", "+44 20 7946 0100",
    "--phone-night", "+44 20 7946 0199", "--zone", "Asia/Kolkata", "--login", "ruth", "--staff-name", "Ruth",
)  # fmt: skip


@pytest.fixture
def clinic(followup: Callable, tmp_path: Path) -> Path:
    done = followup(*INIT, FOLLOWUP_PASSWORD="long enough words")
    assert done.returncode == 0, done.stderr
    return tmp_path / "data"


def test_a_clinic_is_checked_swept_backed_up_and_put_back(clinic, followup) -> None:
    first = followup("check")
    assert first.returncode == 1
    assert [line.split()[0] for line in first.stdout.splitlines()] == ["E01", "W07", "E12"]
    assert followup("sweep").returncode == 0
    second = followup("check")
    assert (second.returncode, [line.split()[0] for line in second.stdout.splitlines()]) == (
        0,
        ["W07", "W13"],
    )
    done = followup("backup", "--to", "safe", FOLLOWUP_BACKUP_PASSPHRASE="four plain words here")
    assert "verified, encrypted" in done.stdout
    (saved,) = (clinic.parent / "safe").glob("*.age")
    refused = followup("restore", str(saved))
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "encrypted" in refused.stderr
    done = followup("restore", str(saved), FOLLOWUP_BACKUP_PASSPHRASE="four plain words here")
    assert done.returncode == 0
    assert len(list(clinic.glob("followup.sqlite3.before-*"))) >= 1
    assert followup("journal", "verify").stdout.startswith("The journal is whole: ")


def test_nothing_is_restored_under_a_running_server(clinic, followup) -> None:
    followup("backup")
    (saved,) = (clinic / "backups").glob("*.sqlite3")
    store = Store.open(sqlite_url(clinic / "followup.sqlite3"))
    with store.upkeep(datetime.now(UTC)) as unit:
        take_lease(unit, name="sweep", owner="another", lifetime=timedelta(minutes=2))
    store.close()
    done = followup("restore", str(saved))
    assert (done.returncode, "is at work on this database" in done.stderr) == (2, True)
    store = Store.open(sqlite_url(clinic / "followup.sqlite3"))
    with store.upkeep(datetime.now(UTC)) as unit:
        release_lease(unit, name="sweep", owner="another")
    store.close()
    assert followup("restore", str(saved)).returncode == 0


def test_a_damaged_database_is_replaced_by_its_backup_and_kept_beside(clinic, followup) -> None:
    followup("backup")
    (saved,) = (clinic / "backups").glob("*.sqlite3")
    (clinic / "followup.sqlite3").write_bytes(b"not a database at all" * 500)
    assert followup("restore", str(saved)).returncode == 0
    assert followup("journal", "verify").returncode == 0
    assert len(list(clinic.glob("followup.sqlite3.before-*"))) == 1


def test_the_journals_first_broken_link_is_named(clinic, followup) -> None:
    engine = make_engine(sqlite_url(clinic / "followup.sqlite3"), pooled=False)
    with engine.begin() as connection:
        connection.exec_driver_sql("DROP TRIGGER journal_no_update")
        connection.exec_driver_sql("UPDATE journal SET actor = 'x' WHERE number = 2")
    engine.dispose()
    done = followup("journal", "verify")
    assert done.returncode == 2
    assert "entry 2 was changed after it was written" in done.stderr


def test_a_clinic_moves_to_another_file_and_a_full_one_is_refused(clinic, followup, tmp_path) -> None:
    source, target = str(clinic / "followup.sqlite3"), str(tmp_path / "moved.sqlite3")
    assert "carried and compared" in followup("move", source, target).stdout
    again = followup("move", source, target)
    assert again.returncode == 2
    assert "holds rows already" in again.stderr


def test_sites_are_added_and_staff_bound_to_them(clinic, followup, tmp_path) -> None:
    calendar = tmp_path / "hill.json"
    calendar.write_text(json.dumps({"services": [{"name": "review", "capacity": 4}]}))
    done = followup("site", "put", "HILL", "--name", "Hill room", "--calendar", str(calendar))
    assert done.returncode == 0, done.stderr
    assert followup("site", "bind", "ruth", "HILL").returncode == 0
    assert "HILL: Hill room; staff: ruth" in followup("site", "list").stdout
    assert followup("site", "bind", "ruth").returncode == 0
    assert "At every site: ruth" in followup("site", "list").stdout
    for wrong in (("put", "HILL TOP"), ("bind", "ruth", "NOWHERE"), ("bind", "nobody", "HILL")):
        assert followup("site", *wrong).returncode == 2


def test_messages_are_counted_and_agreed_to_only_by_patients_who_are_there(clinic, followup) -> None:
    assert followup("messages", "count", "a" * 161).stdout == "2 parts: 161 places in GSM-7\n"
    assert followup("messages", "unsent").stdout == "0 messages not sent\n"
    assert followup("messages", "calls", "reminder").stdout == "code,name,language,telephones,say\n"
    for wrong in (("agree", "K-1", "--by", "folder"), ("stop", "K-1")):
        done = followup("messages", *wrong)
        assert (done.returncode, done.stderr.count("\n")) == (2, 1)


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("GATEWAY", 'url = "http://gateway.example/"', "gateway.toml line 1"),
        ("MAIL", 'host = "mail.example"\nport = 0\nsender = "a@b"', "mail.toml line 2"),
    ],
)
def test_a_faulty_description_of_a_way_out_stops_the_start_by_file_and_line(
    clinic, followup, tmp_path, name, content, said
) -> None:
    path = tmp_path / f"{name.lower()}.toml"
    path.write_text(content)
    done = followup("sweep", **{f"FOLLOWUP_{name}": str(path)})
    assert done.returncode == 2
    assert said in done.stderr
