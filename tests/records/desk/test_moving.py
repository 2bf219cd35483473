"""A clinic carried from one database to another and back, without loss."""

from __future__ import annotations

import pytest
from kept_database import emptied
from sqlalchemy import select, text

from followup.errors import FollowupError
from followup.records.desk.trip_steps import mark_arrived
from followup.records.store.copying import carry, fingerprints
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.journal import verify_journal
from followup.records.store.store import Store
from followup.records.tables import SiteRow


def _prints(store: Store) -> dict[str, tuple[int, str]]:
    with store.engine.connect() as connection:
        return fingerprints(connection)


def _busy(ward) -> None:
    for number in range(3):
        plan = ward.signed(f"K-{number}")
        ward.sign(ward.draft(plan.patient_id, ward.body(f"K-{number}")).id)


def test_from_sqlite_to_postgresql_and_back_nothing_is_lost(
    sqlite_ward, postgres_address, open_store, tmp_path
):
    _busy(sqlite_ward)
    there = open_store(postgres_address)
    carried = carry(sqlite_ward.store.engine, there.engine)
    assert carried.rows["trip"] == 18
    assert _prints(there) == _prints(sqlite_ward.store)
    back = open_store(sqlite_url(tmp_path / "back.db"))
    assert carry(there.engine, back.engine).journal == carried.journal
    assert _prints(back) == _prints(sqlite_ward.store)
    with back.read() as session:
        assert verify_journal(session) == carried.journal


def test_work_goes_on_after_the_move_with_numbers_that_do_not_collide(
    sqlite_ward, postgres_address, open_store
):
    _busy(sqlite_ward)
    there = open_store(postgres_address)
    carry(sqlite_ward.store.engine, there.engine)
    moved = type(sqlite_ward)(there)
    plan = moved.signed("K-9")
    with there.write(moved.reception, moved.at(1)) as unit:
        mark_arrived(unit, trip_id=moved.trips(plan)[0].id, nonce="n")
    with there.read() as session:
        verify_journal(session)


def test_a_database_that_was_moved_into_is_empty_for_the_next_test(sqlite_ward, postgres_address, open_store):
    there = open_store(postgres_address)
    carry(sqlite_ward.store.engine, there.engine)
    there.close()
    assert emptied(postgres_address)
    with there.read() as session:
        assert session.execute(select(SiteRow.id)).scalars().all() == [1]


def test_a_database_that_holds_anything_is_not_moved_into(sqlite_ward, postgres_address, open_store):
    _busy(sqlite_ward)
    there = open_store(postgres_address)
    carry(sqlite_ward.store.engine, there.engine)
    before = _prints(there)
    with pytest.raises(FollowupError) as caught:
        carry(sqlite_ward.store.engine, there.engine)
    assert caught.value.code == "move.target"
    assert _prints(there) == before


def test_a_broken_journal_is_not_carried_and_leaves_the_target_empty(sqlite_ward, tmp_path, open_store):
    _busy(sqlite_ward)
    with sqlite_ward.store.engine.begin() as connection:
        connection.execute(text("DROP TRIGGER journal_no_update"))
        connection.execute(text("UPDATE journal SET actor = 'x' WHERE number = 4"))
    target = open_store(sqlite_url(tmp_path / "new.db"))
    with pytest.raises(FollowupError, match="entry 4 was changed"):
        carry(sqlite_ward.store.engine, target.engine)
    assert _prints(target)["journal"][0] == 0


def test_a_source_of_another_version_is_refused(sqlite_store, tmp_path):
    with sqlite_store.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '0001'"))
    target = make_engine(sqlite_url(tmp_path / "new.db"))
    with pytest.raises(FollowupError) as caught:
        carry(sqlite_store.engine, target)
    assert caught.value.code == "move.source"
    target.dispose()
