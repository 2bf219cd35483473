"""The schema: what the migrations make is what the tables say, on both databases."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from datetime import UTC, datetime

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import CheckConstraint, DateTime, inspect, text
from sqlmodel.sql.sqltypes import UTCDateTime

from followup.errors import FollowupError
from followup.records.jobs.backup import take_backup
from followup.records.store import migrations
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.migrations import known_steps, schema_state, upgrade
from followup.records.store.store import Store
from followup.records.tables import metadata
from followup.records.views import SYSTEM

NOW = datetime(2027, 3, 1, 8, 30, tzinfo=UTC)


def test_the_migrations_make_exactly_the_tables_of_the_program(store):
    with store.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []


def test_every_check_of_the_tables_is_in_the_database(store):
    wanted = {
        str(constraint.name)
        for table in metadata.tables.values()
        for constraint in table.constraints
        if str(constraint.name).startswith("ck_")
    }
    with store.engine.connect() as connection:
        if store.engine.dialect.name == "sqlite":
            sql = connection.execute(text("SELECT group_concat(sql) FROM sqlite_master")).scalar_one()
            found = {name for name in wanted if f"CONSTRAINT {name} CHECK" in sql}
        else:
            found = set(
                connection.execute(text("SELECT conname FROM pg_constraint WHERE contype = 'c'")).scalars()
            )
    assert len(wanted) > 20
    assert wanted - found == set()


def test_every_check_says_in_the_database_what_it_says_in_the_tables(sqlite_template):
    """Comparing the metadata looks at no check; one word more in a list needs its step too."""
    told = make_engine(sqlite_url(sqlite_template))
    checks = [
        (table.name, constraint)
        for table in metadata.tables.values()
        for constraint in table.constraints
        if isinstance(constraint, CheckConstraint)
    ]
    found = {
        (table, one["name"]): one["sqltext"]
        for table in metadata.tables
        for one in inspect(told).get_check_constraints(table)
    }
    told.dispose()
    assert {(table, one.name): str(one.sqltext) for table, one in checks} == found


def test_every_constraint_has_a_name_that_a_migration_can_find():
    for table in metadata.tables.values():
        for constraint in table.constraints:
            assert constraint.name, table.name


def test_no_column_holds_an_instant_without_its_zone():
    for table in metadata.tables.values():
        for column in table.columns:
            assert not isinstance(column.type, DateTime) or isinstance(column.type, UTCDateTime), column


def test_upgrading_twice_changes_nothing_and_keeps_what_is_stored(store):
    upgrade(store.engine)
    with store.engine.connect() as connection:
        assert connection.execute(text("SELECT count(*) FROM clinic")).scalar_one() == 1
        assert connection.execute(text("SELECT count(*) FROM journal")).scalar_one() == 1


def test_an_empty_database_becomes_current(tmp_path):
    engine = make_engine(sqlite_url(tmp_path / "new.db"))
    assert schema_state(engine) == "empty"
    upgrade(engine)
    assert schema_state(engine) == "current"
    engine.dispose()


def test_the_names_of_the_files_tell_the_steps_and_the_newest():
    scripts = ScriptDirectory.from_config(migrations._config())
    told = {script.revision for script in scripts.walk_revisions()}
    assert known_steps() == (told, scripts.get_current_head())
    assert len(told) >= 20


def test_a_store_that_is_current_is_opened_without_alembic(sqlite_store, monkeypatch):
    """Importing it and running the file of every step takes longer than most commands work."""
    monkeypatch.setitem(sys.modules, "alembic", None)
    upgrade(sqlite_store.engine)
    assert schema_state(sqlite_store.engine) == "current"


def test_a_database_of_a_newer_program_is_refused_and_left_alone(store):
    with store.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(FollowupError) as caught:
        upgrade(store.engine)
    assert caught.value.code == "store.newer"
    with store.engine.connect() as connection:
        assert connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one() == "9999"


@pytest.mark.parametrize(
    ("rule", "value"),
    [
        ("journal_mode", "wal"),
        ("busy_timeout", 30_000),
        ("foreign_keys", 1),
        ("synchronous", 2),
        ("secure_delete", 1),
    ],
)
@pytest.mark.parametrize("kind", ["pooled", "not pooled", "reading", "a unit", "of a site", "a backup"])
def test_sqlite_runs_under_the_rules_on_every_kind_of_connection(sqlite_store, tmp_path, kind, rule, value):
    """Synchronous 2 is FULL: what was acknowledged is on the disk."""
    url = sqlite_store.engine.url.render_as_string()
    with ExitStack() as stack:
        asked = stack.enter_context
        if kind == "a unit":
            found = asked(sqlite_store.write(SYSTEM, NOW)).session.connection()
        elif kind == "reading":
            found = asked(sqlite_store.read()).connection()
        elif kind == "of a site":
            found = asked(sqlite_store.for_site(1).write(SYSTEM, NOW)).session.connection()
        elif kind == "a backup":
            url = sqlite_url(take_backup(sqlite_store.engine, tmp_path, NOW).path)
            found = asked(_connected(stack, url, pooled=False))
        else:
            found = asked(_connected(stack, url, pooled=kind == "pooled"))
        assert found.execute(text(f"PRAGMA {rule}")).scalar_one() == value


def _connected(stack, url, *, pooled):
    """A connection of an engine of its own, which is closed after it."""
    engine = make_engine(url, pooled=pooled)
    stack.callback(engine.dispose)
    return engine.connect()


@pytest.mark.parametrize("url", ["sqlite://", "sqlite:///:memory:", "mysql://here/there", "not a url"])
def test_an_address_that_can_not_be_a_store_is_refused_in_one_line(url):
    with pytest.raises(FollowupError) as caught:
        Store.open(url)
    assert caught.value.code == "store.url"
    assert "\n" not in caught.value.line


NEXT_STEP = '''
"""A step that a later version might have."""
import sqlalchemy as sa
from alembic import op
revision, down_revision, branch_labels, depends_on = "9999", "{head}", None, None


def upgrade():
    {step}
'''
REBUILD = """with op.batch_alter_table("patient", recreate="always") as batch:
        batch.add_column(sa.Column("nickname", sa.String(), nullable=True))"""
ORPHAN = 'op.execute("DELETE FROM trip_transition"); op.execute("DELETE FROM patient")'


def _with_next_step(monkeypatch, folder, step: str) -> None:
    (folder / "v9999_next.py").write_text(NEXT_STEP.format(step=step, head=known_steps()[1]))
    folders = [*migrations._folders(), folder]
    monkeypatch.setattr(migrations, "_folders", lambda: folders)


def _counts(store) -> dict[str, int]:
    with store.engine.connect() as connection:
        return {
            name: connection.execute(text(f"SELECT count(*) FROM {name}")).scalar_one()
            for name in metadata.tables
        }


def test_rebuilding_a_parent_table_keeps_every_row_of_its_children(sqlite_ward, monkeypatch, tmp_path):
    store, before = sqlite_ward.store, sqlite_ward.signed() and _counts(sqlite_ward.store)
    assert before["patient"] == 1
    assert before["trip"] == 3
    _with_next_step(monkeypatch, tmp_path, REBUILD)
    assert schema_state(store.engine) == "older"
    upgrade(store.engine)
    assert schema_state(store.engine) == "current"
    assert _counts(store) == before
    with store.engine.connect() as connection:
        assert connection.execute(text("SELECT nickname FROM patient")).scalar_one() is None
        assert connection.execute(text("PRAGMA foreign_keys")).scalar_one() == 1


def test_an_upgrade_that_would_leave_orphans_is_taken_back_whole(ward, monkeypatch, tmp_path):
    store, before = ward.store, ward.signed() and _counts(ward.store)
    _with_next_step(monkeypatch, tmp_path, ORPHAN)
    with pytest.raises(FollowupError) as caught:
        upgrade(store.engine)
    assert caught.value.code == "store.upgrade"
    assert _counts(store) == before
    assert schema_state(store.engine) == "older"
