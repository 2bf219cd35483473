"""The log: a line a cause a minute, no traceback for what is expected, and nobody's name in it.

OWASP ASVS 5.0, V16.2.5 (nothing in a log that need not be there) and V16.5 (faults).
"""

from __future__ import annotations

import errno
import logging
import os
import stat

import pytest
from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError
from starlette.requests import ClientDisconnect

from followup.cli import logs
from followup.cli.logs import QuietLog, frames_of, is_expected, logging_in, told
from followup.errors import FollowupError
from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store

NAME, PHONE = "Asha Wanjiru", "+44 20 7946 0123"


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def written() -> list[str]:
    return []


@pytest.fixture
def log(written, clock):
    """A logger whose lines are kept, without their time."""
    quiet = QuietLog(lambda line: written.append(line.partition("Z ")[2] or line), clock=clock)
    logger = logging.getLogger("followup.a_test")
    logger.addHandler(quiet)
    logger.propagate = False
    yield logger
    logger.removeHandler(quiet)
    quiet.close()
    logger.propagate = True


def fault(kind: type[Exception] = ValueError) -> Exception:
    """A fault whose words hold what they must not."""
    try:
        raise kind(f"{NAME} {PHONE}")
    except kind as exc:
        return exc


def away(tmp_path) -> Exception:
    try:
        with Store.open(sqlite_url(tmp_path / "none" / "x.db")).read() as session:
            session.connection()
    except FollowupError as exc:
        return exc
    raise AssertionError("it is there")


def test_a_cause_is_told_once_a_minute_with_how_many_more_there_were(log, written, clock, tmp_path):
    problem = away(tmp_path)
    for second in range(120):
        clock.now = float(second)
        for page in ("/today", "/waiting"):
            log.warning("refused for now: GET %s", page, exc_info=problem)
    line = "WARNING followup.a_test: refused for now: GET /today: store.unreachable"
    assert [one.partition(" (")[0] for one in written] == [line, line, line]
    assert written[1].endswith(" … 119 more like this")
    log.handlers[0].close()
    assert written[3].endswith(" … 119 more like this")
    assert len(written) == 4


def test_a_fault_of_the_program_shows_its_traceback_once_and_then_its_line(log, written, clock):
    problem = fault()
    for minute in range(3):
        clock.now = minute * 61.0
        log.error("fault in GET /x", exc_info=problem)
    assert [one.count("\n") > 0 for one in written] == [False, True, False, False]
    assert " in fault" in written[1]
    assert " at cli/test_logs.py:" in written[0] or " at tests/cli/test_logs.py:" in written[0]


@pytest.mark.parametrize(
    "problem",
    [
        OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)),
        OSError(errno.EMFILE, os.strerror(errno.EMFILE)),
        ConnectionResetError(errno.ECONNRESET, "reset"),
        ClientDisconnect(),
        FollowupError("store.busy", "the database is busy"),
    ],
)
def test_what_is_expected_is_a_line_without_a_traceback(log, written, problem):
    log.error("it failed", exc_info=problem)
    assert is_expected(problem)
    assert len(written) == 1
    assert "\n" not in written[0]


def test_a_fault_of_the_program_is_not_expected():
    assert not is_expected(fault())
    assert not is_expected(FileNotFoundError(errno.ENOENT, "no such file"))


@pytest.mark.usefixtures("database_kind")
def test_a_fault_of_the_database_tells_no_name_and_no_telephone(store, written, log):
    """On each of both databases: neither what stands in the row nor what the server says about it."""
    faults = []
    statements = (
        "INSERT INTO patient (id, code, code_key, name, phone) VALUES (1, :name, :name, :name, :phone)",
        "INSERT INTO staff (login, name, roles) VALUES (:name, :phone, 'x')",
        "SELECT * FROM patient WHERE id = CAST(:name AS integer) OR no_such_column = :phone",
    )
    for statement in statements:
        try:
            with store.engine.begin() as connection:
                connection.execute(text(statement), {"name": NAME, "phone": PHONE})
        except SQLAlchemyError as exc:
            faults.append(exc)
    assert len(faults) >= 2
    for number, problem in enumerate(faults):
        assert PHONE not in str(problem).partition("DETAIL")[0]
        log.error("fault %d", number, exc_info=problem)
    assert any("\n" in one for one in written), "a faulty statement is a fault of the program"
    told_of = "\n".join([*written, *map(frames_of, faults), *map(told, faults)])
    assert all(part not in told_of for part in (NAME, "Asha", PHONE, "7946"))


def test_no_fault_tells_what_its_words_hold(log, written):
    try:
        try:
            raise fault(KeyError)
        except KeyError as exc:
            raise fault(ValueError) from exc
    except ValueError as exc:
        said = str(exc)
        log.exception("fault in %s", "GET /patients/{code}")
    assert NAME in said
    assert "KeyError" in written[1]
    assert NAME not in "".join(written)


def test_a_line_can_not_be_forged_or_run_on(log, written):
    log.warning("one\nERROR two\x1b[31m")
    log.warning("Traceback (most recent call last):\n  File x\nValueError: %s", NAME)
    log.warning("x%s", "y" * 5000)
    assert written[0] == "WARNING followup.a_test: one"
    assert written[1] == "WARNING followup.a_test: ValueError"
    assert len(written[2]) == logs.MOST_LETTERS


def test_many_causes_do_not_fill_the_memory(log, written):
    for number in range(3 * logs.MOST_CAUSES):
        log.warning(f"cause {number}")
    assert len(log.handlers[0]._said) == logs.MOST_CAUSES


def test_the_file_is_its_owners_alone_and_rotated(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(logs, "FILE_BYTES", 2000)
    before = os.umask(0)
    try:
        with logging_in(tmp_path):
            assert list(tmp_path.iterdir()) == []
            for number in range(200):
                logging.getLogger("followup.many").warning(f"cause {number} {'x' * 80}")
    finally:
        os.umask(before)
    files = sorted(tmp_path.iterdir())
    assert [one.name for one in files] == [
        "followup.log",
        *(f"followup.log.{number}" for number in range(1, 5)),
    ]
    assert {stat.S_IMODE(one.stat().st_mode) for one in files} == {0o600}
    assert max(one.stat().st_size for one in files) <= 2000
    assert capsys.readouterr().err.count("\n") == 200
    assert logging.getLogger().handlers.count(QuietLog) == 0


def test_a_full_disk_does_not_stop_what_is_logged(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(
        logs._OwnFile, "_open", lambda _: (_ for _ in ()).throw(OSError(errno.ENOSPC, "full"))
    )
    with logging_in(tmp_path):
        logging.getLogger("followup").warning("it goes on")
    assert capsys.readouterr().err.count("it goes on") == 1


def test_a_database_that_is_away_is_refused_for_now_and_a_line(tmp_path):
    """Reading says it in the same words as writing."""
    problem = away(tmp_path)
    assert problem.code == "store.unreachable"
    assert told(problem) == "store.unreachable (sqlite3.OperationalError SQLITE_CANTOPEN)"
