"""The journal: in the same transaction as the change, chained, and closed to any hand."""

from __future__ import annotations

import hashlib
import json
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from sqlmodel import update

from followup.errors import FollowupError
from followup.records.jobs.upkeep import note_transitions
from followup.records.people.patients import enter_record
from followup.records.store.journal import journal_of, journal_of_several, verify_journal
from followup.records.tables import PatientRow
from followup.records.views import Actor

NOBODY = Actor("nobody")
NOW = datetime(2027, 3, 1, tzinfo=UTC)


def _entries(store) -> list[dict[str, object]]:
    with store.engine.connect() as connection:
        rows = connection.execute(text("SELECT * FROM journal ORDER BY number")).mappings()
        return [dict(row) for row in rows]


@pytest.fixture
def tamper(ward, unguard_journal):
    """Runs a statement on the journal, which must be found out; what is said of it."""

    def run(statement: str) -> str:
        with ward.store.engine.begin() as connection:
            unguard_journal(connection)
            connection.execute(text(statement))
        with ward.store.read() as session, pytest.raises(FollowupError) as caught:
            verify_journal(session)
        assert caught.value.code == "journal.broken"
        return caught.value.what

    return run


def test_every_change_is_written_down_with_who_and_when(ward):
    ward.signed()
    with ward.store.read() as session:
        told = [(entry.action, entry.actor) for entry in journal_of(session, "patient:K-1")]
    assert told == [("record entered", "mira"), ("plan drafted", "mira"), ("plan signed", "sen")]
    assert _entries(ward.store)[-1]["actor"] == "sen"


def test_an_untouched_journal_is_whole_and_its_seal_is_the_newest_hash(ward):
    ward.signed()
    with ward.store.read() as session:
        seal = verify_journal(session)
    rows = _entries(ward.store)
    assert (seal.entries, seal.hash) == (len(rows), rows[-1]["hash"])


def test_the_chain_can_be_computed_by_anyone_from_what_is_stored(ward):
    ward.signed()
    with ward.store.write(NOBODY, NOW) as unit:
        unit.log(
            '"\\/ \x1f\x7f\n', "patient:\u2028\u0995\U0001f600\u00e9", odd='\\"\u0627\t', more=["a", "b"]
        )
    previous = "0" * 64
    for row in _entries(ward.store):
        at = str(row["at"]).replace(" ", "T").removesuffix("+00:00")
        content = {
            "number": row["number"],
            "at": (at if "." in at else f"{at}.000000") + "+00:00",
            "actor": row["actor"],
            "action": row["action"],
            "subject": row["subject"],
            "details": row["details"],
        }
        canonical = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        previous = hashlib.sha256((previous + canonical).encode()).hexdigest()
        assert row["hash"] == previous


@pytest.mark.parametrize("statement", ["UPDATE journal SET actor = 'x'", "DELETE FROM journal"])
def test_the_database_refuses_to_change_or_delete_an_entry(store, statement):
    before = _entries(store)
    with store.engine.connect() as connection, pytest.raises(DBAPIError, match="can only grow"):
        connection.execute(text(statement))
    assert _entries(store) == before


def test_postgresql_refuses_to_empty_the_journal_at_once(postgres_address, open_store):
    store = open_store(postgres_address)
    with store.engine.connect() as connection, pytest.raises(DBAPIError, match="can only grow"):
        connection.execute(text("TRUNCATE journal"))


@pytest.mark.parametrize("column", ["actor", "action", "subject", "details"])
def test_a_changed_entry_is_named(ward, column, tamper):
    ward.enter()
    assert tamper(f"UPDATE journal SET {column} = 'x' WHERE number = 2") == (
        "entry 2 was changed after it was written"
    )


def test_a_changed_instant_is_named(ward, tamper):
    ward.enter()
    earlier = "'2027-01-01 00:00:00.000000'"
    assert tamper(f"UPDATE journal SET at = {earlier} WHERE number = 3").startswith("entry 3")


@pytest.mark.parametrize("change", ["at = 'garbage'", "details = x'00ff'", "action = x'ff'"])
def test_an_entry_that_can_not_be_read_any_more_is_named(sqlite_ward, unguard_journal, change):
    """A file takes anything; PostgreSQL keeps out what is no instant and no text."""
    with sqlite_ward.store.engine.begin() as connection:
        unguard_journal(connection)
        connection.execute(text(f"UPDATE journal SET {change} WHERE number = 2"))
    with sqlite_ward.store.read() as session, pytest.raises(FollowupError, match="entry 2 was changed"):
        verify_journal(session)


def test_an_entry_taken_out_of_the_middle_is_named(ward, tamper):
    ward.enter()
    assert tamper("DELETE FROM journal WHERE number = 2") == "entry 2 is missing"


def test_an_entry_changed_with_its_own_hash_made_anew_breaks_the_next_link(ward, tamper):
    ward.enter()
    hash_ = "e" * 64
    what = tamper(f"UPDATE journal SET hash = '{hash_}' WHERE number = 2")
    assert what.startswith("entry 2")
    with ward.store.engine.begin() as connection:
        connection.execute(text(f"UPDATE journal SET previous = '{hash_}' WHERE number = 3"))
    with ward.store.read() as session, pytest.raises(FollowupError, match="entry 2"):
        verify_journal(session)


def test_an_entry_that_does_not_follow_the_one_before_it_is_named(ward, tamper):
    ward.enter()
    other = "f" * 64
    what = tamper(f"UPDATE journal SET previous = '{other}' WHERE number = 3")
    assert what == "entry 3 does not follow the one before it"


def test_a_change_without_its_entry_is_not_stored(store):
    row = {"code": "K-9", "code_key": "k-9", "name": "A", "search_name": "a", "birth_year": 1950}
    with (
        pytest.raises(RuntimeError, match="a change of patient has no journal entry"),
        store.write(NOBODY, NOW) as unit,
    ):
        unit.session.add(PatientRow(**row, entered_at=NOW))
    with store.engine.connect() as connection:
        assert connection.execute(text("SELECT count(*) FROM patient")).scalar_one() == 0


def test_a_change_by_statement_without_its_entry_is_not_stored_either(ward):
    ward.enter()
    with pytest.raises(RuntimeError, match="patient"), ward.store.write(NOBODY, NOW) as unit:
        unit.session.execute(update(PatientRow).values(name="Someone else"))
    with ward.store.engine.connect() as connection:
        assert connection.execute(text("SELECT name FROM patient")).scalar_one() == "Wanjiru Ndegwa"


def test_what_fails_half_way_leaves_neither_change_nor_entry(ward):
    before = _entries(ward.store)
    one, same_code_again = ward.record(), ward.record(name="Somebody Else")
    with pytest.raises(FollowupError) as caught, ward.store.write(ward.counsellor, ward.now) as unit:
        _enter_all(unit, one, same_code_again)
    assert caught.value.code == "record.exists"
    assert _entries(ward.store) == before
    with ward.store.engine.connect() as connection:
        assert connection.execute(text("SELECT count(*) FROM patient")).scalar_one() == 0


def test_writers_at_the_same_time_make_one_unbroken_chain(ward):
    start = len(_entries(ward.store))
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda n: ward.enter(ward.record(f"P-{n}")), range(24)))
    with ward.store.read() as session:
        assert verify_journal(session).entries == start + 24


def test_the_journal_holds_no_names_and_no_telephone_numbers(ward):
    ward.enter(ward.record(telephones=[{"number": "+44 20 7946 0123"}]))
    assert "Wanjiru" not in str(_entries(ward.store))
    assert "7946 0123" not in str(_entries(ward.store))


def _enter_all(unit, *records) -> None:
    for record in records:
        enter_record(unit, record=record)


def test_an_insert_that_came_too_late_is_no_change_and_needs_no_entry(ward):
    trip = ward.trips(ward.signed())[0]
    with ward.store.write(NOBODY, NOW) as unit:
        assert note_transitions(unit, [(trip.id, "late", NOW)])
        unit.log("visit turned late", "patient:K-1")
    with ward.store.write(NOBODY, NOW) as unit:
        assert not note_transitions(unit, [(trip.id, "late", NOW)])
    with pytest.raises(RuntimeError, match="trip_transition"), ward.store.write(NOBODY, NOW) as unit:
        note_transitions(unit, [(trip.id, "overdue", NOW)])


def test_of_several_patients_the_journal_tells_each_alone_and_these_actions_only(ward):
    for code in ("K-1", "K-2", "K-3"):
        ward.signed(code)
    asked = ["patient:K-1", "patient:K-3", "patient:nobody"]
    with ward.store.read() as session:
        found = journal_of_several(session, asked, ("plan signed", "record entered"))
        alone = {subject: journal_of(session, subject) for subject in asked}
    told = {subject: [entry.action for entry in entries] for subject, entries in found.items()}
    assert told == {
        "patient:K-1": ["record entered", "plan signed"],
        "patient:K-3": ["record entered", "plan signed"],
        "patient:nobody": [],
    }
    assert all(entry in alone[subject] for subject in asked for entry in found[subject])
    assert len(alone["patient:K-1"]) > 2
