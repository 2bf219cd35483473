"""A restore ends every log-in and says whose state is older than what was known, file and server alike."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from followup.recall.jobs.daily import keep_seal, seal_file
from followup.records.house.staff import add_staff, all_staff, change_staff, find_session, open_session
from followup.records.store.journal import journal_of
from followup.records.views import SYSTEM

NOW = datetime.now(UTC)
DAY = timedelta(days=1)


@pytest.fixture
def write(store):
    def unit():
        return store.write(SYSTEM, NOW)

    return unit


@pytest.fixture
def tokens(store, write):
    """Three more people, all logged in."""
    with write() as unit:
        for login in ("asha", "samir", "tala"):
            add_staff(unit, login=login, name=login.title(), roles={"reception"}, password_hash="x")
        return {login: open_session(unit, login=login, lifetime=DAY) for login in ("ruth", "asha", "samir")}


@pytest.fixture
def saved(tokens, clinic, inside):
    """A backup taken while they are logged in."""
    assert inside("backup").returncode == 0
    (path,) = (clinic / "backups").glob("*.sqlite3")
    return path


def in_force(store, tokens) -> list[str]:
    with store.read() as session:
        return [
            login
            for login, token in tokens.items()
            if find_session(session, token=token, now=NOW, idle=DAY) is not None
        ]


def active(store) -> dict[str, bool]:
    with store.read() as session:
        return {person.login: person.active for person in all_staff(session)}


def test_a_restore_into_any_database_ends_every_log_in(
    database_kind, saved, tokens, store, inside, make_blank, open_store
) -> None:
    assert in_force(store, tokens) == ["ruth", "asha", "samir"]
    new = {"FOLLOWUP_DATABASE_URL": make_blank()}
    done = inside("restore", str(saved), **new)
    assert (done.returncode, done.stderr) == (0, "")
    assert "Everybody logs in anew: 3 log-ins were ended." in done.stdout
    there = open_store(new["FOLLOWUP_DATABASE_URL"])
    assert in_force(there, tokens) == []
    with there.read() as session:
        entry = journal_of(session, "clinic")[-1]
    assert (entry.actor, entry.action) == ("command line", "restored from a backup")
    assert dict(entry.details) == {"backup": saved.name, "sessions_ended": 3}


def test_who_was_switched_off_after_the_backup_stays_so_and_who_changed_is_named(
    saved, tokens, store, write, inside
) -> None:
    with write() as unit:
        change_staff(unit, login="asha", active=False)
        change_staff(unit, login="samir", roles={"pharmacy"}, password_hash="y")
        add_staff(unit, login="omar", name="Omar", roles={"manager"}, password_hash="z")
    store.close()
    done = inside("restore", str(saved))
    assert (done.returncode, done.stderr) == (0, "")
    assert active(store) == {"asha": False, "ruth": True, "samir": True, "tala": True}
    assert done.stdout.splitlines()[2:] == [
        "3 later journal entries are not in it.",
        "Look at these people before anybody logs in; they are as they were at the backup:",
        "  asha (Asha): stays switched off",
        "  omar (Omar): added after the backup, is missing",
        "  samir (Samir): roles; password",
    ]
    assert in_force(store, tokens) == []
    assert inside("journal", "verify").returncode == 0


def test_the_last_manager_of_the_backup_is_left_on_and_named(saved, store, write, inside) -> None:
    with write() as unit:
        add_staff(unit, login="omar", name="Omar", roles={"manager"}, password_hash="z")
        change_staff(unit, login="ruth", active=False)
    store.close()
    done = inside("restore", str(saved))
    assert "switched off after the backup, is on: the backup knows no other manager" in done.stdout
    assert active(store)["ruth"] is True


def test_where_nobody_changed_nobody_is_named(saved, store, inside) -> None:
    store.close()
    told = inside("restore", str(saved)).stdout
    assert told.splitlines()[1:] == ["Everybody logs in anew: 3 log-ins were ended."]


@pytest.mark.parametrize("seal", [True, False])
def test_where_what_was_there_can_not_be_read_the_seal_outside_says_how_much_is_missing(
    clinic, saved, store, write, inside, seal
) -> None:
    with write() as unit:
        change_staff(unit, login="asha", active=False)
        change_staff(unit, login="samir", active=False)
    if seal:
        with store.read() as session:
            keep_seal(seal_file(clinic), session)
    store.close()
    (clinic / "followup.sqlite3").write_bytes(b"not a database at all" * 500)
    told = inside("restore", str(saved)).stdout
    assert ("2 later journal entries are not in it." in told) == seal
    assert "Nothing here tells who was changed after the backup: everybody may have an older password" in told


def test_a_backup_that_lost_its_proof_goes_back_only_where_that_is_said(clinic, saved, store, inside) -> None:
    """The database that a restore put aside has none."""
    store.close()
    assert inside("restore", str(saved)).returncode == 0
    (aside,) = [path for path in clinic.glob("followup.sqlite3.before-*") if path.suffix[-4:-2] != "-s"]
    refused = inside("restore", str(aside))
    assert (refused.returncode, refused.stderr.count("\n")) == (2, 1)
    assert "--without-proof" in refused.stderr
    assert inside("restore", str(aside), "--without-proof").returncode == 0
