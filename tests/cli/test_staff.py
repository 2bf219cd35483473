"""``followup staff``: the way back into a clinic, for whoever has its computer in hand."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from sqlalchemy import text

from followup.care.passwords import Passwords
from followup.records.house.second_factor import begin_second_factor, set_second_factor
from followup.records.house.staff import add_staff, all_staff, bind_staff, staff_by_login
from followup.records.house.wrong_logins import MOST_WRONG, note_wrong_login, seconds_to_wait
from followup.records.store.journal import journal_of
from followup.records.store.sites import Site, put_site
from followup.records.views import SYSTEM, Actor

ANOTHER = "quite another password"


def _journal(store, login: str) -> list[tuple[str, str]]:
    with store.read() as session:
        return [(one.actor, one.action) for one in journal_of(session, f"staff:{login}")]


def test_a_manager_who_was_shut_out_is_let_in_again_with_a_new_password_and_the_journal_says_so(
    store, inside
):
    with store.write(SYSTEM, datetime.now(UTC)) as unit:
        site = put_site(unit, Site(0, "HILL", "Hill room"))
        unit.session.execute(
            text("UPDATE staff SET active = false, roles = '[\"surgeon\"]', site_id = :site"),
            {"site": site.id},
        )
        unit.log("everybody shut out", "clinic")
    done = inside("staff", "manager", "RUTH ", FOLLOWUP_PASSWORD=ANOTHER)
    assert (done.returncode, done.stderr) == (0, "")
    assert "logs in as ruth now, manager of every site" in done.stdout
    with store.read() as session:
        ruth = staff_by_login(session, "ruth")
    assert (ruth.active, ruth.roles, ruth.site) == (True, {"manager", "surgeon"}, None)
    assert Passwords().matches(ruth.password_hash, ANOTHER)
    assert ruth.password_own, "typed by whoever has the computer in hand"
    assert _journal(store, "ruth")[-1] == ("command line", "manager made")


def test_somebody_new_is_made_manager_by_a_name_and_not_without(store, inside):
    without = inside("staff", "manager", "omar", FOLLOWUP_PASSWORD=ANOTHER)
    assert (without.returncode, without.stderr.count("\n")) == (2, 1)
    assert "--name" in without.stderr
    done = inside("staff", "manager", "omar", "--name", "Omar Haddad", FOLLOWUP_PASSWORD=ANOTHER)
    assert (done.returncode, done.stderr) == (0, "")
    with store.read() as session:
        omar = staff_by_login(session, "omar")
    assert (omar.name, omar.roles, omar.password_own) == ("Omar Haddad", {"manager"}, True)
    assert _journal(store, "omar") == [("command line", "staff added")]


@pytest.mark.parametrize("password", ["short", "omaromaromar"])
def test_a_password_that_is_guessed_first_makes_nobody_manager(store, inside, password):
    done = inside("staff", "manager", "omar", "--name", "Omar", FOLLOWUP_PASSWORD=password)
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    with store.read() as session:
        assert [one.login for one in all_staff(session)] == ["ruth"]


def test_who_is_locked_out_is_let_in_at_once(store, inside):
    now = datetime.now(UTC)
    for _ in range(MOST_WRONG):
        with store.upkeep(now) as unit:
            note_wrong_login(unit, login="ruth", origin="192.0.2.7")
    asked = {"login": "ruth", "origin": "192.0.2.7", "now": now}
    with store.read() as session:
        assert seconds_to_wait(session, **asked) > 0
    done = inside("staff", "unlock", "Ruth")
    assert (done.returncode, done.stdout, done.stderr) == (0, "ruth can try again.\n", "")
    with store.read() as session:
        assert seconds_to_wait(session, **asked) == 0
    assert _journal(store, "ruth")[-1] == ("command line", "log-in unlocked")
    assert inside("staff", "unlock", "nobody").returncode == 2


def test_a_lost_second_factor_is_taken_off_at_the_computer_itself_and_the_journal_says_so(store, inside):
    now = datetime.now(UTC)
    with store.write(Actor("ruth", frozenset({"manager"})), now) as unit:
        begin_second_factor(unit, sealed="sealed")
        set_second_factor(unit, sealed="sealed", step=1)
    assert inside("staff", "second-factor", "ruth").returncode == 2
    done = inside("staff", "second-factor", "Ruth", "--off")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == "ruth logs in with the password alone.\n"
    with store.read() as session:
        person = staff_by_login(session, "ruth")
    assert (person.second_key, person.second_since) == ("", None)
    assert _journal(store, "ruth")[-1] == ("command line", "second factor taken off")
    assert "has no second factor" in inside("staff", "second-factor", "ruth", "--off").stderr


def test_the_list_says_who_is_what_where_and_what_is_missing(store, inside):
    now = datetime.now(UTC)
    with store.write(SYSTEM, now) as unit:
        site = put_site(unit, Site(0, "HILL", "Hill room"))
        add_staff(unit, login="bela", name="Bela", roles=["reception"], password_hash="-")
        bind_staff(unit, login="bela", site=site.id)
        add_staff(unit, login="dev", name="Dev", roles=["manager"], password_hash="-")
    with store.write(Actor("dev", frozenset({"manager"})), now) as unit:
        add_staff(unit, login="nila", name="Nila", roles=["surgeon"], password_hash="-")
    done = inside("staff", "list")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines() == [
        "bela: Bela; reception; at HILL",
        "dev: Dev; manager; at every site",
        "nila: Nila; no role yet; at every site; surgeon waits for a second person; "
        "the password is not an own one yet",
        "ruth: Ruth Amberley; manager and surgeon; at every site",
    ]


def test_no_command_binds_the_last_manager_of_every_site_to_one(store, inside):
    with store.write(SYSTEM, datetime.now(UTC)) as unit:
        put_site(unit, Site(0, "HILL", "Hill room"))
        unit.log("site added", "site:HILL")
    done = inside("site", "bind", "ruth", "HILL")
    assert done.returncode == 2
    assert "last manager" in done.stderr
