"""A store of many clinics, each a site: what happens now copied for each, and a year's past behind it.

What lies on the disk is as large as in a clinic: plans, gists and records of the past are those of the sample
clinic's own people, and the journal is a whole chain with as many entries for a person as there. The copies'
plans count as not verified, as those from before the journal bound them.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from typing import Any

from grown_history import Past, Row, grow_back
from sqlalchemy import Engine, text
from sqlmodel import Session

from followup.recall.jobs.daily import JOBS
from followup.recall.jobs.sweep import JOURNAL_CHECK
from followup.records.plans.bound import ISSUED, SIGNED
from followup.records.store.copying import _set_counters
from followup.records.store.journal import NewEntry, _Entry, append, canonical, newest_seal, seal
from followup.records.tables import metadata

# As many as somebody of the sample clinic has when all visits are done.
ENTRIES = 18
_SITES = "generate_series(1, :more) AS k"
_WHOSE = "JOIN patient p ON p.id = o.patient_id"
# What hangs on a person and is copied; all else of a site is staff and places.
_COPIED = (
    *("patient", "patient_key", "record_version", "operation", "care_plan", "trip", "sheet"),
    *("sheet_choice", "contact_attempt", "handing", "hand_out_day", "trip_transition", "alert"),
)
_UNIQUE = {"code": "-S", "code_key": "-s", "nonce": "~", "arrival_nonce": "~"}


class CountrysPast(Past):
    """The past of ``sites`` sites by turns."""

    def __init__(self, *given: Any, sites: int, bodies: Bodies, last: tuple[int, str], **more: Any) -> None:
        """``last``: number and hash of the entry that the journal ends with."""
        super().__init__(*given, **more)
        self.sites, self.bodies, self.last = sites, bodies, last

    def tables(self) -> Iterator[tuple[str, Iterator[Row]]]:
        for name, rows in super().tables():
            yield name, self._chain() if name == "journal" else rows

    def _patient(self, i: int) -> Row:
        return super()._patient(i) | {"site_id": i % self.sites + 1}

    def _record(self, i: int) -> Row:
        return super()._record(i) | {"body": self.bodies.records[i % len(self.bodies.records)]}

    def _plan(self, i: int) -> Row:
        body, gist = self.bodies.plans[i % len(self.bodies.plans)]
        return super()._plan(i) | {"body": body, "gist": gist}

    def _chain(self) -> Iterator[Row]:
        number, previous = self.last
        other = {"visit": 3, "day": "2026-03-01", "window": "2026-03-01 to 2026-03-04", "kind": "look"}
        told_of = [(SIGNED, {"plan": 1}), (ISSUED, {"issue": 1}), *[("visit done", other)] * (ENTRIES - 2)]
        for i in range(self.people):
            day = self.operated(i)
            at = datetime(day.year, day.month, day.day, 8, 30, tzinfo=UTC)
            for action, details in told_of:
                number += 1
                subject = f"patient:{self.code(i)}"
                told = _Entry(number, at, "past", action, subject, canonical(details), previous)
                previous = seal(told)
                yield {**told._asdict(), "at": f"{day} 08:30:00.000000", "hash": previous}


@dataclass(frozen=True)
class Bodies:
    """What plans (with their gists) and records of one clinic say."""

    plans: list[tuple[str, str]]
    records: list[str]

    @classmethod
    def of(cls, database: Path) -> Bodies:
        with sqlite3.connect(database) as store:
            plans = store.execute("SELECT body, gist FROM care_plan WHERE status = 'active' LIMIT 500")
            records = store.execute("SELECT body FROM record_version ORDER BY id DESC LIMIT 500")
            return cls([(body, gist) for body, gist in plans], [body for (body,) in records])


def found_sites(engine: Engine, sites: int) -> int:
    """Copy the first site until there are so many; each has staff of its own (``surgeon-7`` at the seventh).

    Returns what is added to an id of the first site for each site further on.
    """
    with engine.begin() as connection:
        counted = [name for name in _COPIED if "id" in metadata.tables[name].c and name != "sheet"]
        highest = " UNION ALL ".join(f"SELECT max(id) AS n FROM {name}" for name in counted)
        stride = connection.execute(text(f"SELECT max(n) + 1 FROM ({highest}) t")).scalar_one()
        given = {"more": sites - 1, "stride": stride}
        for statement in (
            "INSERT INTO site (id, code, name, phone_day, phone_night, calendar) SELECT k + 1,"
            f" 'S' || (k + 1), 'Site', phone_day, phone_night, calendar FROM site, {_SITES} WHERE id = 1",
            *map(_copy, _COPIED),
            # The grown clinic's days are full: whoever is operated on now would find no day.
            f"INSERT INTO place SELECT k + 1, service, day, capacity, 0 FROM place, {_SITES}",
            "UPDATE place SET taken = 0",
            "INSERT INTO staff (login, name, registration, roles, password_hash, active, created_at, site_id,"
            " language, password_own) SELECT login || '-' || k, name, registration, roles, password_hash,"
            " active, created_at, k, language, password_own FROM staff, generate_series(1, :more + 1) AS k",
        ):
            connection.execute(text(statement), given)
        _set_counters(connection)
    return int(stride)


def _copy(name: str) -> str:
    """The statement that copies a table's rows of the first site for every other."""
    table = metadata.tables[name]
    cells = {column.name: _cell(name, column) for column in table.columns}
    whose = f" JOIN patient p ON p.id = {name}.patient_id" if "body" in table.c else ""
    columns = ", ".join(f'"{one}"' for one in cells)
    return f"INSERT INTO {name} ({columns}) SELECT {', '.join(cells.values())} FROM {name}{whose}, {_SITES}"


def _cell(table: str, column: Any) -> str:
    name, here = column.name, f'{table}."{column.name}"'
    if (table, name) == ("sheet", "id") or name == "sheet_id":
        return f"upper(substr(md5({here} || k), 1, 10))"
    if name == "id" or any(key.column.name in ("id", "patient_id") for key in column.foreign_keys):
        return "k + 1" if name == "site_id" else f"{here} + k * :stride"
    if name in _UNIQUE:
        return f"{here} || '{_UNIQUE[name]}' || (k + 1)"
    if name == "key":
        return f"CASE WHEN {here} LIKE 'code %' THEN {here} || '-s' || (k + 1) ELSE {here} END"
    if name == "body":
        return f"replace({here}, '\"' || p.code || '\"', '\"' || p.code || '-S' || (k + 1) || '\"')"
    if name == "gist":
        # No two plans say the same: nothing that was read of one may stand for its copies.
        return f"{here} || repeat(' ', k * 30)"
    return here


def grow_country(engine: Engine, clinic: Path, sites: int, visits: int, today: date) -> int:
    """Found the sites, give each ``visits`` visits in all; what is added to an id for each site."""
    stride = found_sites(engine, sites)
    with Session(engine) as session:
        append(session, _untold(session), actor="past", now=datetime.now(UTC))
        last = newest_seal(session)
        session.commit()
    kind = partial(CountrysPast, sites=sites, bodies=Bodies.of(clinic), last=(last.entries, last.hash))
    grow_back(engine, sites * visits, today, kind)
    return stride


def _untold(session: Session) -> Iterator[NewEntry]:
    """That the copies' plans were signed and their sheets printed, told as before there were hashes."""
    new = "NOT EXISTS (SELECT FROM journal WHERE subject = 'patient:' || p.code)"
    for action, number, stored in (
        (
            SIGNED,
            "plan",
            f"SELECT o.number, p.code FROM care_plan o {_WHOSE} WHERE o.signed_at IS NOT NULL AND",
        ),
        (ISSUED, "issue", f"SELECT o.issue, p.code FROM sheet o {_WHOSE} WHERE"),
    ):
        for of_it, code in session.execute(text(f"{stored} {new}")).all():
            yield NewEntry(action, f"patient:{code}", {number: of_it})


def call_the_night_done(engine: Engine, day: date) -> None:
    """The jobs of the night are measured apart: no server begins one in the middle of a measurement."""
    run = (
        "INSERT INTO daily_run (job, day, claimed_at, finished_at, outcome)"
        " VALUES (:job, :day, now(), now(), 'whole, left out') ON CONFLICT DO NOTHING"
    )
    with engine.begin() as connection:
        for job in [JOURNAL_CHECK, *(job.name for job in JOBS)]:
            connection.execute(text(run), {"job": job, "day": day})


class Processor:
    """Seconds of CPU that processes took, those they started included."""

    TICKS = os.sysconf("SC_CLK_TCK")

    def __init__(self, *of: int) -> None:
        self.of = of

    def __call__(self) -> float:
        known = {}
        for stat in Path("/proc").glob("[0-9]*/stat"):
            try:
                cells = stat.read_text().rpartition(")")[2].split()
            except OSError:
                continue
            known[int(stat.parent.name)] = int(cells[1]), sum(map(int, cells[11:15])) / self.TICKS
        return sum(spent for number, (_, spent) in known.items() if self._is_mine(number, known))

    def _is_mine(self, number: int, known: dict[int, tuple[int, float]]) -> bool:
        while number in known:
            if number in self.of:
                return True
            number = known[number][0]
        return False
