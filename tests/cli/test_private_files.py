"""Whatever the program writes is its owner's alone, and what a killed run left is named and cleared.

OWASP ASVS 5.0, V14.2 (data that must be protected): no other user of the computer reads a clinic's files.
"""

from __future__ import annotations

import os
import stat
import sys
import time
from datetime import UTC, datetime, timedelta

import pytest
import time_machine

import followup.cli
from followup.records.store.engine import sqlite_url

pytestmark = pytest.mark.skipif(os.name != "posix", reason="modes are those of POSIX")
PASSWORD = "a long enough password"


@pytest.fixture
def open_to_all():
    """Everything that is made without a mode is for everybody."""
    before = os.umask(0)
    yield
    os.umask(before)


def _modes(*paths) -> dict[str, str]:
    """Who else may use what lies there, by its path."""
    every = [each for path in paths for each in (path, *path.rglob("*"))]
    return {str(one): oct(mode) for one in every if (mode := stat.S_IMODE(one.stat().st_mode)) & 0o077}


def _leftover(path, *, hours: float):
    path.parent.mkdir(exist_ok=True, mode=0o700)
    path.write_text("x")
    then = time.time() - hours * 3600
    os.utime(path, (then, then))
    path.chmod(0o600)
    return path


def test_nothing_that_a_command_writes_is_for_others_in_whatever_folder_and_under_whatever_umask(
    open_to_all, inside, set_up, tmp_path
) -> None:
    folder, moved = tmp_path / "data", tmp_path / "moved.sqlite3"
    folder.mkdir(mode=0o777)
    assert inside(*set_up(), FOLLOWUP_PASSWORD=PASSWORD).returncode == 0
    for arguments in (
        ("sweep",),
        ("backup",),
        ("language", "export", "hi", "hi.csv"),
        ("move", sqlite_url(folder / "followup.sqlite3"), sqlite_url(moved)),
    ):
        assert inside(*arguments).returncode == 0, arguments
    saved = max((folder / "backups").glob("*.sqlite3"))
    assert inside("restore", str(saved)).returncode == 0
    assert _modes(folder, moved, tmp_path / "hi.csv") == {}


def test_every_command_writes_for_its_owner_alone(monkeypatch) -> None:
    seen = []
    monkeypatch.setattr(followup.cli, "run", lambda *_: seen.append(os.umask(0o022)) or 0)
    monkeypatch.setattr(sys, "argv", ["followup", "check"])
    before = os.umask(0o022)
    try:
        with pytest.raises(SystemExit):
            followup.cli.main()
    finally:
        os.umask(before)
    assert seen == [0o077]


def test_what_was_open_to_others_is_shut_when_the_clinic_is_opened(clinic, inside) -> None:
    assert inside("backup").returncode == 0
    assert inside("sweep").returncode == 0
    own = {"recall-keys.json"}
    opened = [path for path in (clinic, *clinic.rglob("*")) if path.name not in own]
    for path in opened:
        path.chmod(0o777 if path.is_dir() else 0o644)
    stranger = clinic / "notes.txt"
    stranger.write_text("not the program's")
    stranger.chmod(0o644)
    assert "W19" not in inside("check").stdout
    assert list(_modes(clinic)) == [str(stranger)]


def test_what_can_not_be_shut_is_named(clinic, inside, monkeypatch) -> None:
    (clinic / "journal-seal.json").write_text("{}")
    (clinic / "journal-seal.json").chmod(0o644)
    monkeypatch.setattr("followup.cli.opening.shut", lambda _: None)
    told = inside("check").stdout
    assert f"W19  other users of this computer can get at {clinic / 'journal-seal.json'} - run: chmod" in told


def test_a_folder_for_everybody_is_not_taken_from_them(tmp_path, inside, set_up) -> None:
    shared = tmp_path / "shared"
    shared.mkdir()
    shared.chmod(0o1777)
    assert inside(*set_up(), FOLLOWUP_PASSWORD=PASSWORD, FOLLOWUP_FOLDER=str(shared)).returncode == 0
    assert list(_modes(shared)) == [str(shared)]


def test_what_a_killed_run_left_is_named_and_cleared_by_the_next_backup(clinic, inside, next_noon) -> None:
    backups = clinic / "backups"
    dead = [
        _leftover(clinic / "followup.sqlite3.0123abcd.part-saved", hours=2),
        _leftover(clinic / "journal-seal.json.89abcdef.new", hours=2),
        _leftover(clinic / "recall-keys.json.turning", hours=2),
        _leftover(backups / "followup-20260101T000000Z.0123abcd.part", hours=30),
        _leftover(backups / "followup-20260101T000000Z.0123abcd.part-journal", hours=30),
    ]
    alive = [
        _leftover(backups / "followup-20260102T000000Z.0123abcd.part", hours=0.5),
        _leftover(backups / "followup-20260103T000000Z.0123abcd.part", hours=5),
        _leftover(backups / "followup-20260103T000000Z.0123abcd.part-wal", hours=0.1),
        _leftover(backups / "parts of a bottle.part", hours=5),
    ]
    told = [line for line in inside("check").stdout.splitlines() if line.startswith("W20")]
    assert len(told) == 1
    assert f"a run that was broken off left {dead[3]}, {dead[4]}, {dead[0]} and 2 more - " in told[0]
    assert inside("backup").returncode == 0
    assert [path.exists() for path in dead] == [True, True, True, False, False]
    with time_machine.travel(next_noon):
        assert inside("sweep").returncode == 0
    assert [path.exists() for path in dead] == [False] * 5
    assert [path.exists() for path in alive] == [True] * 4
    assert "W20" not in inside("check").stdout


def test_a_database_put_aside_is_named_after_thirty_days_and_never_deleted(clinic, inside) -> None:
    now = datetime.now(UTC)
    old, young = (
        _leftover(
            clinic / f"followup.sqlite3.before-{now - timedelta(days=days):%Y%m%dT%H%M%S}Z-12ab", hours=1
        )
        for days in (31, 29)
    )
    told = [line for line in inside("check").stdout.splitlines() if line.startswith("W21")]
    assert len(told) == 1
    assert f"more than thirty days ago, {old} - see whether anybody" in told[0]
    assert inside("sweep").returncode == 0
    assert [old.exists(), young.exists()] == [True, True]
