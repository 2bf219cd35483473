"""Killed with SIGKILL a hundred times, in the middle of everything: nothing lost, nothing doubled."""

from __future__ import annotations

import json
import sqlite3
from collections import Counter
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from alembic import command
from queue_of_messages import messages_of_day
from sqlalchemy import MetaData, text

from followup.clinical.protocol.load import load_protocol
from followup.recall.codes.codes import create_keyring
from followup.recall.messages.wanted import wanted
from followup.records.people.oplist import operation_list
from followup.records.people.patients import patient_by_code, search_patients
from followup.records.plans.sheets import find_sheet
from followup.records.store import migrations
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.journal import verify_journal
from followup.records.store.migrations import schema_state, upgrade

# On each of both databases; upgrades and languages, which are files, once.
SWEEPS, BATCHES, ENTRIES, IMPORTS, UPGRADES, LANGUAGES = 20, 10, 10, 10, 20, 10
ROWS = 3
# Against hanging only: a busy computer may take its time.
pytestmark = pytest.mark.timeout(1800)
START = datetime(2027, 3, 1, tzinfo=UTC)


def test_killed_in_mid_sweep_no_transition_and_no_message_is_lost_or_doubled(
    full, worker, chance, tmp_path, count, aid
):
    ward, url = full
    row, day = count("kill -9 in mid-sweep with messages"), 6
    worker.get_ready("sweep", url=url, folder=tmp_path / "warm", now=ward.at(4, 3))
    _, usual = worker.run("sweep", url=url, folder=tmp_path / "warm", now=ward.at(5, 3))
    start = ward.at(day, 3)
    ward.log_in(start)
    number = 0
    while row.times < SWEEPS:
        number += 1
        # Ten minutes on each time: the dead server's lease and claims have run out by then.
        now = start + aid.minutes(10 * number)
        row.times += worker.kill("sweep", chance.uniform(0, usual), url=url, folder=tmp_path, now=now)
    for further in range(1, 4):
        end = start + aid.minutes(10 * (number + further))
        assert worker.run("sweep", url=url, folder=tmp_path, now=end)[0] == 0
    aid.judge_transitions(row, ward.store, end)
    sent = Counter(aid.lines(tmp_path / "sent"))
    with ward.store.read() as session:
        asked = [
            one.key
            for kind in ("reminder", "missed")
            for one in wanted(session, kind, ward.day(day), load_protocol())
        ]
        stored = [one.key for one in messages_of_day(session, ward.day(day))]
    row.lost["messages"] += len(set(asked) - set(sent))
    again = sum(times - 1 for times in sent.values())
    # A message handed on whose server died before it could write so is sent again under its key.
    row.doubled["messages"] += max(0, again - row.times) + len(stored) - len(set(stored))
    row.note = f"{len(sent)} messages, {again} sent again under the same key"
    assert len(asked) >= 20
    assert (row.lost.total(), row.doubled.total()) == (0, 0)


def test_killed_in_mid_print_batch_no_sheet_that_was_acknowledged_is_lost(
    full, worker, chance, tmp_path, count, aid
):
    ward, url = full
    row = count("kill -9 in mid-print-batch")
    with ward.store.read() as session:
        plans = [trip.plan_id for trip in _all_trips(session)]
    order = {"url": url, "folder": tmp_path, "now": ward.at(1), "plans": plans}
    worker.get_ready("print", first=5_000, **order)
    _, usual = worker.run("print", first=10_000, **order)
    number = 0
    while row.times < BATCHES:
        number += 1
        row.times += worker.kill("print", chance.uniform(0, usual), first=20_000 + 100 * number, **order)
    printed, handed = aid.lines(tmp_path / "printed"), aid.lines(tmp_path / "handed")
    with ward.store.read() as session:
        verify_journal(session)
        found = {sheet: find_sheet(session, sheet) for sheet in printed}
        issues = Counter(
            session.connection().execute(text("SELECT patient_id || '-' || issue FROM sheet")).scalars()
        )
    row.lost["sheets"] += sum(one is None for one in found.values())
    row.lost["hand-overs"] += sum(found[sheet].sheet.handed_over_at is None for sheet in handed)
    row.doubled["issue numbers"] += sum(times - 1 for times in issues.values())
    row.note = f"{len(printed)} sheets acknowledged"
    assert len(printed) >= len(plans)  # at least the first, undisturbed batch
    assert (row.lost.total(), row.doubled.total()) == (0, 0)


def test_killed_in_mid_entry_no_acknowledged_record_is_lost_and_none_is_half_there(
    full, worker, chance, tmp_path, count, aid
):
    ward, url = full
    row = count("kill -9 in mid-entry of records")
    order = {"url": url, "folder": tmp_path, "now": ward.at(1), "count": 25}
    worker.get_ready("enter", first=10_000, **order)
    _, usual = worker.run("enter", first=0, **order)
    number = 0
    while row.times < ENTRIES:
        number += 1
        row.times += worker.kill("enter", chance.uniform(0, usual), first=100 * number, **order)
    stored = aid.lines(tmp_path / "stored")
    with ward.store.read() as session:
        verify_journal(session)
        row.lost["records"] += sum(patient_by_code(session, code) is None for code in stored)
        half = text(
            "SELECT count(*) FROM patient p WHERE NOT EXISTS (SELECT 1 FROM record_version r "
            "WHERE r.patient_id = p.id) OR NOT EXISTS (SELECT 1 FROM journal j "
            "WHERE j.subject = 'patient:' || p.code)"
        )
        row.lost["halves"] += session.connection().execute(half).scalar_one()
        everybody = [who.code for who in search_patients(session, "Asha Rao", limit=2000)]
    row.doubled["records"] += len(everybody) - len(set(everybody))
    row.note = f"{len(stored)} records acknowledged"
    assert (row.lost.total(), row.doubled.total()) == (0, 0)


def test_killed_in_mid_import_the_whole_file_is_there_or_nothing_of_it_and_a_second_time_does_no_harm(
    full, worker, chance, tmp_path, count, aid
):
    ward, url = full
    row = count("kill -9 in mid-import of lists and records")
    create_keyring(tmp_path / "recall-keys.json")
    order = {"url": url, "folder": tmp_path, "now": ward.at(1)}

    def present(number: int) -> set[bool]:
        with ward.store.read() as session:
            known = {patient_by_code(session, f"I{number}-{one}") is not None for one in range(ROWS)}
            return known | {bool(operation_list(session, _list_day(number)))}

    worker.get_ready("command", arguments=["import", str(_file_of(tmp_path, 0))], **order)
    _, usual = worker.run("command", arguments=["import", str(_file_of(tmp_path, 1))], **order)
    assert present(0) == present(1) == {True}
    number = whole = 1
    while row.times < IMPORTS:
        number += 1
        path = str(_file_of(tmp_path, number))
        row.times += worker.kill("command", chance.uniform(0, usual), arguments=["import", path], **order)
        found = present(number)
        row.lost["halves"] += len(found) - 1
        row.lost["files"] += path in aid.lines(tmp_path / "done") and found != {True}
        if number % 4 == 0:
            assert worker.run("command", arguments=["import", path], **order)[0] == 0
            found = present(number)
            row.lost["files"] += found != {True}
        whole += found == {True}
    with ward.store.read() as session:
        verify_journal(session)
        imported = text("SELECT count(*) FROM patient WHERE code LIKE 'I%'")
        drafts = text(
            "SELECT count(*) FROM care_plan c JOIN patient p ON p.id = c.patient_id WHERE p.code LIKE 'I%'"
        )
        for what, asked in (("records", imported), ("plans", drafts)):
            there = session.connection().execute(asked).scalar_one()
            row.doubled[what] += abs(there - ROWS * (whole + 1))
    row.note = f"{number + 1} files of {ROWS} records and a list, {whole + 1} stored"
    assert (row.lost.total(), row.doubled.total()) == (0, 0)


def test_killed_while_a_language_is_taken_in_the_old_words_or_the_new_ones_are_there(
    worker, chance, tmp_path, count
):
    row = count("kill -9 in mid-import of a language")
    order = {"url": sqlite_url(tmp_path / "none.db"), "folder": tmp_path, "now": START}
    table, words = tmp_path / "hi.csv", tmp_path / "locales" / "hi" / "LC_MESSAGES" / "sheet.po"
    assert worker.run("command", arguments=["language", "export", "hi", str(table)], **order)[0] == 0
    plain = table.read_text("utf-8-sig")
    told, take_in = [], ["language", "import", "hi", str(table)]
    usual = 0.0
    for version in (plain, plain.replace("\nAt home,घर पर,", "\nAt home,अपने घर में,")):
        table.write_text(version, "utf-8")
        done, usual = worker.run("command", arguments=take_in, **order)
        assert done == 0
        told.append(words.read_bytes())
    assert told[0] != told[1]
    turn = 0
    while row.times < LANGUAGES:
        turn += 1
        table.write_text(plain if turn % 2 else plain.replace("घर पर", "अपने घर में"), "utf-8")
        row.times += worker.kill("command", chance.uniform(0, usual), arguments=take_in, **order)
        row.lost["catalogues"] += words.read_bytes() not in told
    row.note = f"{len(told[0])} bytes each"
    assert (row.lost.total(), row.doubled.total()) == (0, 0)


def test_killed_in_mid_migration_the_old_schema_or_the_new_one_is_there_with_every_row(
    full_file, worker, chance, tmp_path, count, aid
):
    ward, _ = full_file
    row = count("kill -9 in mid-migration")
    old = tmp_path / "old.db"
    _older(ward.store, old)
    before = _rows(old)
    target = tmp_path / "m.db"

    def fresh() -> str:
        for side in ("", "-wal", "-shm"):
            target.with_name(target.name + side).unlink(missing_ok=True)
        target.write_bytes(old.read_bytes())
        return sqlite_url(target)

    order = {"folder": tmp_path, "now": ward.at(1)}
    worker.get_ready("migrate", url=fresh(), **order)
    _, usual = worker.run("migrate", url=fresh(), **order)
    while row.times < UPGRADES:
        url = fresh()
        row.times += worker.kill("migrate", chance.uniform(0, usual), url=url, **order)
        engine = make_engine(url, pooled=False)
        assert schema_state(engine) in ("older", "current")
        upgrade(engine)
        assert schema_state(engine) == "current"
        engine.dispose()
        after = _rows(target)
        row.lost["rows"] += sum(max(0, len(before[name]) - len(after[name])) for name in before)
        row.doubled["rows"] += sum(max(0, len(after[name]) - len(before[name])) for name in before)
        # Every column of before is still there with what stood in it.
        for name, rows in before.items():
            wanted = [{key: one[key] for key in one if key not in GONE} for one in rows]
            kept = [{key: one[key] for key in wanted[0]} for one in after[name]] if wanted else []
            row.lost["values"] += sum(one not in kept for one in wanted)
    row.note = f"{sum(len(rows) for rows in before.values())} rows each"
    assert (row.lost.total(), row.doubled.total()) == (0, 0)


def _list_day(number: int) -> date:
    return date(2028, 1, 1) + timedelta(days=number)


def _file_of(folder: Path, number: int) -> Path:
    """A file with the list of a day and the records of those who stand on it."""
    day = _list_day(number).isoformat()
    rows = []
    for one in range(ROWS):
        code = f"I{number}-{one}"
        rows.append({"on": day, "code": code, "name": "Asha Rao", "eye": "left"})
        operation = {"eye": "left", "eye_drawn": "left", "date": day, "procedure": "phacoemulsification"}
        rows.append(
            {"patient": {"code": code, "name": "Asha Rao", "birth_year": 1950}, "operations": [operation]}
        )
    path = folder / f"rows-{number}.jsonl"
    path.write_text("\n".join(json.dumps(row) for row in rows), "utf-8")
    return path


def _all_trips(session):
    from followup.records.trips.trips import open_trips

    return open_trips(session)[:12]


# Columns of the first schema that are no more, with what stood in them by themselves.
GONE = {"failed_logins": 0, "locked_until": None, "search_phones": ""}


def _older(store, path) -> None:
    """A store of the first schema with the same rows, as far as it has tables and columns for them."""
    engine = make_engine(sqlite_url(path), pooled=False)
    with engine.connect() as connection:
        connection.connection.driver_connection.execute("PRAGMA foreign_keys=OFF")
        with connection.begin():
            config = migrations._config()
            config.attributes["connection"] = connection
            command.upgrade(config, "0001")
            known = MetaData()
            known.reflect(connection)
            with store.engine.connect() as source:
                for table in known.sorted_tables:
                    if table.name == "alembic_version":
                        continue
                    names = [column.name for column in table.columns]
                    gone = {name: GONE[name] for name in names if name in GONE}
                    still = ", ".join(name for name in names if name not in GONE)
                    for values in source.execute(text(f"SELECT {still} FROM {table.name}")).mappings():
                        row = {**values, **gone}
                        marks = ", ".join(f":{name}" for name in row)
                        put = f"INSERT INTO {table.name} ({', '.join(row)}) VALUES ({marks})"
                        connection.execute(text(put), row)
        connection.connection.driver_connection.execute("PRAGMA journal_mode=DELETE")
    engine.dispose()


def _rows(file: Path) -> dict[str, list[dict[str, object]]]:
    with closing(sqlite3.connect(file)) as connection:
        connection.row_factory = sqlite3.Row
        tables = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        return {
            name: [dict(row) for row in connection.execute(f"SELECT * FROM {name}")]
            for (name,) in tables
            if name != "alembic_version"
        }
