"""A store of an older version, a row in every table: each step carries over every value as it was."""

from __future__ import annotations

import shutil
from datetime import date

import pytest
from alembic import command
from older_stores import ADDED, STEPS, made_by, stored_after
from sqlalchemy import Engine, text
from sqlmodel import Session, select

from followup.records.store import migrations
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.migrations import schema_state, upgrade
from followup.records.tables import PlaceRow, metadata


def _step(engine: Engine, step: str) -> None:
    """This step alone, under the same rule for parents and children as the whole upgrade."""
    with engine.connect() as connection:
        connection.connection.driver_connection.execute("PRAGMA foreign_keys=OFF")
        with connection.begin():
            config = migrations._config()
            config.attributes["connection"] = connection
            command.upgrade(config, step)


def _put(engine: Engine, rows) -> None:
    with engine.begin() as connection:
        for table, row in rows:
            columns, values = ", ".join(f'"{name}"' for name in row), ", ".join(f":{name}" for name in row)
            connection.execute(text(f"INSERT INTO {table} ({columns}) VALUES ({values})"), row)


def _stored(engine: Engine) -> dict[str, list[dict[str, object]]]:
    """Every row, as it lies in the file; tables with nothing in them are left out."""
    tables = "SELECT name FROM sqlite_master WHERE type = 'table' AND name <> 'alembic_version'"
    with engine.connect() as connection:
        found = {
            name: [dict(row) for row in connection.execute(text(f"SELECT * FROM {name}")).mappings()]
            for name in connection.execute(text(tables)).scalars().all()
        }
    return _in_order({name: rows for name, rows in found.items() if rows})


def _in_order(stored: dict[str, list[dict[str, object]]]) -> dict[str, list[dict[str, object]]]:
    return {name: sorted(rows, key=lambda row: str(sorted(row.items()))) for name, rows in stored.items()}


@pytest.fixture(scope="module")
def left_by(tmp_path_factory):
    """The file as each version left it, with a row in every table that it knew; each step taken alone."""
    folder = tmp_path_factory.mktemp("older")
    engine = make_engine(sqlite_url(folder / "followup.db"), pooled=False)
    found = {}
    for step in STEPS:
        _step(engine, step)
        _put(engine, made_by(step))
        found[step] = shutil.copy(folder / "followup.db", folder / f"{step}.db")
    engine.dispose()
    return found


@pytest.mark.parametrize("step", STEPS)
def test_each_step_keeps_every_value_and_says_of_old_rows_what_was_true_of_them(left_by, step):
    engine = make_engine(sqlite_url(left_by[step]), pooled=False)
    assert _stored(engine) == _in_order(stored_after(step, left_by=step))
    engine.dispose()


@pytest.mark.parametrize("step", STEPS[:-1])
def test_a_store_of_any_older_version_comes_to_the_newest_with_every_value(left_by, step, tmp_path):
    engine = make_engine(sqlite_url(shutil.copy(left_by[step], tmp_path / "old.db")), pooled=False)
    assert schema_state(engine) == "older"
    upgrade(engine)
    assert schema_state(engine) == "current"
    assert _stored(engine) == _in_order(stored_after(STEPS[-1], left_by=step))
    engine.dispose()


def test_the_rows_of_older_stores_name_every_table_and_column_of_today(left_by):
    """A table or column that a later step brings must be told here too."""
    rows = stored_after(STEPS[-1], left_by=STEPS[-1])
    told = {(table, column) for table, found in rows.items() for column in found[-1]}
    assert told == {
        (table.name, column.name) for table in metadata.tables.values() for column in table.columns
    }
    assert made_by("0001")
    assert set(ADDED) < set(STEPS)


def test_whoever_is_entered_after_the_step_that_brings_sites_without_one_is_at_the_first(left_by, tmp_path):
    """Nothing of a store of one site has to name it."""
    engine = make_engine(sqlite_url(shutil.copy(left_by["0002"], tmp_path / "old.db")), pooled=False)
    (patient,) = [row for table, row in made_by("0001") if table == "patient"]
    _put(engine, [("patient", {**patient, "id": 8, "code": "K-2", "code_key": "k2"})])
    assert [row["site_id"] for row in _stored(engine)["patient"]] == [1, 1]
    engine.dispose()


def test_places_that_are_taken_stay_taken_on_their_day_on_each_database(make_blank):
    """A day lies in one database as text and in the other as a day."""
    engine = make_engine(make_blank(), pooled=False)
    with engine.begin() as connection:
        config = migrations._config()
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
    _put(engine, [(table, row) for table, row in made_by("0001") if table == "place"])
    upgrade(engine)
    with Session(engine) as session:
        found = {
            (one.site_id, one.service, one.day, one.capacity, one.taken)
            for one in session.exec(select(PlaceRow))
        }
    assert found == {(1, "review", date(2027, 3, 8), 20, 3), (1, "macula", date(2027, 3, 9), None, 1)}
    engine.dispose()
