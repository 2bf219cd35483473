"""An archive that an older version of the program made comes in with the steps of the schema since then."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from archives import brought_in, files_in, lines, zipped
from older_stores import stored_after
from sqlalchemy import JSON, Boolean, DateTime, MetaData

from followup.records.house.staff import all_staff
from followup.records.people.patients import search_patients
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.journal import journal_of, seal
from followup.records.store.migrations import upgrade
from followup.records.tables import JournalRow

STEP = "0017"
# Of the clinic that this version left: nothing signed, as its journal would have to tell of it.
FILLED = ("clinic", "site", "staff", "patient", "record_version", "heartbeat", "daily_run")
WITHHELD = {"password_hash", "second_key", "second_since", "second_step"}


def _open(value: Any, kind: Any) -> object:
    """A value as it lay in the file, as an archive writes it."""
    if value is not None and isinstance(kind, DateTime):
        return datetime.fromisoformat(str(value)).replace(tzinfo=UTC).isoformat()
    if value is not None and isinstance(kind, Boolean):
        return bool(value)
    return json.loads(value) if isinstance(kind, JSON) and value is not None else value


@pytest.fixture
def older(tmp_path):
    """The archive, written from what that version stored; its schema read from the database alone."""
    engine = make_engine(sqlite_url(tmp_path / "older.db"), pooled=False)
    upgrade(engine, STEP)
    schema = MetaData()
    schema.reflect(engine)
    engine.dispose()
    stored = stored_after(STEP, left_by=STEP)
    entry = JournalRow(
        number=1, at=datetime(2027, 3, 1, tzinfo=UTC), actor="sen", action="clinic changed",
        subject="clinic", details="{}", previous="0" * 64, hash="",
    )  # fmt: skip
    entry.hash = seal(entry)
    files = {"README.txt": b"", "manifest.json": b"{}"}
    for name, table in schema.tables.items():
        if name in ("alembic_version", "login_session", "lease", "wrong_login"):
            continue
        rows = [
            {
                column.name: _open(row.get(column.name), column.type)
                for column in table.columns
                if name != "staff" or column.name not in WITHHELD
            }
            for row in (stored.get(name, []) if name in FILLED else [])
        ]
        if name == "journal":
            rows = [{**entry.model_dump(), "at": entry.at.isoformat()}]
        files[f"tables/{name}.jsonl"] = lines(rows)
    told = {
        "format": "followup archive", "version": 1, "program": "0.1.0", "step": STEP,
        "made": "2027-03-01T12:00:00Z", "journal": {"entries": 1, "hash": entry.hash}, "left_out": [],
    }  # fmt: skip
    (tmp_path / "older.zip").write_bytes(zipped(files, manifest=lambda manifest: manifest.update(told)))
    return tmp_path / "older.zip"


def test_an_archive_of_an_older_schema_comes_in_as_the_newest_has_it(
    older, make_blank, open_store, tmp_path
) -> None:
    store = open_store(make_blank())
    brought_in(older, store, files_in(tmp_path / "new"))
    with store.read() as session:
        # Found by the words that only a later step made rows of.
        (found,) = search_patients(session, "wanjiru")
        assert found.code == "K-1"
        assert [one.action for one in journal_of(session, "clinic")] == [
            "clinic changed",
            "brought in from an archive",
        ]
        assert all(one.password_hash == "" for one in all_staff(session))
        assert all_staff(session)
