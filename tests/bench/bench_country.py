"""What one two-core server carries of a country's clinics on PostgreSQL, by site in one store.

Run it by hand from the tree: ``PYTHONPATH=tests/shared:. python tests/bench/bench_country.py [--clinics 5]
[--visits 60000] [--rates 2 4 8 16] [--seconds 60] [--night dump journal own] [--clinic FOLDER]``.
5 clinics of 60,000 visits take 3 GB while they are stored and 1.2 GB then, and on a busy computer 25 minutes;
all of it is deleted at the end.

It starts a PostgreSQL server of its own, makes the sample clinic, grows it to 1,000 patients of today with
160 visits on the day (``grown_clinic``), copies that for every clinic, and gives each a past (``country``).
Then two servers of the program serve the pages, and

- each act of a day is done alone, by people of many clinics in turns: CPU time of the servers and of
  PostgreSQL, and the wait;
- people click at a rate that does not depend on how fast they are answered, with the weights of
  ``bench_desks``: the wait counts from the instant at which somebody meant to click;
- a sweep with nothing new, and of the night what is asked for: a dump, the look at the journal, a backup.

``fsync`` is off while the store is filled and on while it is measured; all else of PostgreSQL is as it comes.
"""

from __future__ import annotations

import argparse
import copy
import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from itertools import cycle
from pathlib import Path
from typing import Any

import bench_lists
import httpx2
from bench_desks import DAY, PASSWORD, Known, Person, Server, known_of
from bench_lists import _do, _postgres
from country import Processor, call_the_night_done, grow_country
from grown_clinic import PATIENTS, VISITS, grow, sample_clinic
from sqlalchemy import text
from uneventful import uneventful

from followup.recall.jobs.sweep import sweep
from followup.records.store.copying import carry
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.store import Store

SERVERS = 2


def tell(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


class Desk:
    """The people of one clinic, one of each role."""

    _entered = 0

    def __init__(self, number: int, base: str, known: Known) -> None:
        self.number, self.known, self.base, self.dice = number, known, base, random.Random(number)
        self.people: dict[str, Person] = {}

    def person(self, role: str) -> Person:
        if role not in self.people:
            self.people[role] = Person(self.base, f"{role}-{self.number}", self.known, self.number)
        return self.people[role]

    def sent(self, role: str, path: str, what: dict[str, Any]) -> Any:
        answer = self.person(role).web.post(f"/api{path}", json=what)
        answer.raise_for_status()
        return answer.json() if answer.content else None

    def wrong_letter(self) -> httpx2.Response:
        name = self.dice.choice([one for one in self.known.names if len(one) > 5])
        typed = f"{name[:2]}{name[3:]}"
        return self.person("reception").web.post("/find", data={"text": typed}, follow_redirects=True)

    def record(self) -> int:
        """Somebody new was operated on today, and nothing is asked: the plan's number."""
        Desk._entered += 1
        who = {
            "code": f"N{self.number}-{time.monotonic_ns() % 10**9}-{Desk._entered}",
            **{"name": "Wanjiru Ndegwa", "birth_year": 1955, "language": "en"},
            "telephones": [{"number": "+44 20 7946 0123"}],
            "drops_by": {"who": "relative"},
        }
        stored = {"patient": who, "operations": [uneventful(datetime.now(UTC).date())]}
        return int(self.sent("counsellor", "/records", {"record": stored})["plan"])

    def sign(self, plan: int) -> None:
        self.sent("surgeon", f"/plans/{plan}/sign", {"password": PASSWORD})

    def sheet(self, plan: int) -> str:
        return str(self.sent("counsellor", f"/plans/{plan}/sheets", {"printed": 0})["id"])

    def paper(self, sheet: str) -> None:
        self.person("counsellor").web.get(f"/api/sheets/{sheet}/paper.pdf").raise_for_status()


@dataclass
class Alone:
    """What acts of one kind took: seconds of CPU of both, waits."""

    servers: float = 0.0
    database: float = 0.0
    waits: list[float] = field(default_factory=list)


@dataclass(frozen=True)
class Machine:
    """The processes whose work is counted."""

    servers: Processor
    database: Processor

    def measured(self, acts: Sequence[Callable[[], Any]]) -> Alone:
        found, servers, database = Alone(), self.servers(), self.database()
        for act in acts:
            begun = time.perf_counter()
            act()
            found.waits.append(time.perf_counter() - begun)
        found.servers = (self.servers() - servers) / len(acts)
        found.database = (self.database() - database) / len(acts)
        return found


def alone(desks: Sequence[Desk], machine: Machine, times: int) -> None:
    """Each act by itself, by one clinic after the other."""
    turns = [desk for desk, _ in zip(cycle(desks), range(times), strict=False)]

    def pages(role: str, what: str) -> list[Callable[[], Any]]:
        return [lambda desk=desk: desk.person(role).do(what) for desk in turns]

    for desk in desks[:times]:
        for role in DAY:
            desk.person(role)
        desk.person("reception").do("today")
    tell(f"{'alone':24} {'servers ms':>10} {'database ms':>11} {'half waited ms':>14} {'most ms':>8}")
    for role, row in DAY.items():
        for what in row.does:
            if what != "given":
                _tell_alone(f"{what} ({role})", machine.measured(pages(role, what)))
    _tell_alone("find, a wrong letter", machine.measured([desk.wrong_letter for desk in turns]))
    plans: list[int] = []
    sheets: list[str] = []
    _tell_alone(
        "record stored, drafted",
        machine.measured([lambda desk=desk: plans.append(desk.record()) for desk in turns]),
    )
    both = list(zip(turns, plans, strict=True))
    _tell_alone("plan signed", machine.measured([lambda one=one: one[0].sign(one[1]) for one in both]))
    _tell_alone(
        "sheet issued",
        machine.measured([lambda one=one: sheets.append(one[0].sheet(one[1])) for one in both]),
    )
    printed = list(zip(turns, sheets, strict=True))
    _tell_alone("its PDF", machine.measured([lambda one=one: one[0].paper(one[1]) for one in printed]))


def _tell_alone(name: str, found: Alone) -> None:
    tell(
        f"{name:24} {found.servers * 1000:10.1f} {found.database * 1000:11.1f}"
        f" {statistics.median(found.waits) * 1000:14.0f} {max(found.waits) * 1000:8.0f}"
    )


def _clicks(desks: Sequence[Desk], rate: float, seconds: float) -> Iterator[tuple[float, Desk, str, str]]:
    """When who of which clinic clicks on what, by the weights of a busy hour."""
    dice, at = random.Random(3), 0.0
    roles = list(DAY)
    shares = [DAY[role].share / DAY[role].think for role in roles]
    while (at := at + dice.expovariate(rate)) < seconds:
        role = dice.choices(roles, shares)[0]
        does = DAY[role].does
        yield at, dice.choice(desks), role, dice.choices(list(does), list(does.values()))[0]


def under_load(desks: Sequence[Desk], machine: Machine, rate: float, seconds: float) -> bool:
    """People click ``rate`` times a second; False where they waited so long that more makes no sense."""
    clicks, lock = _clicks(desks, rate, seconds), threading.Lock()
    waits: list[float] = []
    wrong: list[str] = []
    begun, servers, database = time.monotonic(), machine.servers(), machine.database()

    def work() -> None:
        while True:
            with lock:
                click = next(clicks, None)
            if click is None:
                return
            at, desk, role, what = click
            time.sleep(max(0, begun + at - time.monotonic()))
            try:
                status = _colleague(desk.person(role)).do(what).status_code
            except httpx2.HTTPError as error:
                status = type(error).__name__
            waits.append(time.monotonic() - begun - at)
            if not isinstance(status, int) or status >= 400:
                wrong.append(f"{what}: {status}")

    threads = [threading.Thread(target=work) for _ in range(64)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    took, ordered = time.monotonic() - begun, sorted(waits)
    ours, theirs = machine.servers() - servers, machine.database() - database
    late = ordered[int(len(ordered) * 0.95)]
    pages = len(waits) / 1000
    tell(
        f"{rate:6.1f} a second asked, {len(waits) / took:6.1f} answered; half"
        f" {ordered[len(waits) // 2] * 1000:6.0f} ms, 95 of 100 {late * 1000:7.0f}, most"
        f" {ordered[-1] * 1000:7.0f}; CPU a page {ours / pages:5.1f} + {theirs / pages:5.1f}"
        f" ms, cores {ours / took:4.2f} + {theirs / took:4.2f}; {len(wrong)} wrong {sorted(set(wrong))[:4]}"
    )
    return late < 5


def _colleague(person: Person) -> Person:
    """Somebody else in the same role, with another page before them."""
    return copy.copy(person)


def desks_of(engine: Any, clinic: Path, clinics: int, stride: int, bases: Sequence[str]) -> list[Desk]:
    """The people of every clinic, who know its patients; clinics by turns at the servers."""
    known = known_of(clinic)
    with engine.connect() as connection:
        sheets = connection.execute(
            text(
                "SELECT s.id, p.site_id FROM sheet s JOIN patient p ON p.id ="
                " s.patient_id WHERE s.replaced_at IS NULL AND s.id NOT LIKE '~%'"
            )
        )
        by_site: dict[int, list[str]] = {}
        for sheet, site in sheets:
            by_site.setdefault(site, []).append(sheet)
    desks = []
    for number in range(1, clinics + 1):
        tail, more = (f"-S{number}", stride * (number - 1)) if number > 1 else ("", 0)
        own = replace(
            known,
            codes=[code + tail for code in known.codes],
            eyes=[(code + tail, eye) for code, eye in known.eyes],
            plans=[plan + more for plan in known.plans],
            sheets=by_site[number],
        )
        desks.append(Desk(number, bases[number % len(bases)], own))
    return desks


def sizes(engine: Any) -> None:
    """What lies on the disk, by table."""
    with engine.connect() as connection:
        visits, people, all_of_it = connection.execute(
            text(
                "SELECT (SELECT count(*) FROM trip), (SELECT count(*) FROM patient),"
                " pg_database_size(current_database())"
            )
        ).one()
        tell(
            f"{visits:,} visits of {people:,} people: {all_of_it / 1e9:.2f} GB,"
            f" {all_of_it / visits:,.0f} bytes a visit"
        )
        tables = connection.execute(
            text(
                "SELECT c.relname, c.reltuples, pg_table_size(c.oid), pg_indexes_size(c.oid) FROM pg_class c"
                " JOIN pg_namespace n ON n.oid = c.relnamespace WHERE c.relkind = 'r' AND n.nspname ="
                " 'public' ORDER BY pg_total_relation_size(c.oid) DESC LIMIT 10"
            )
        )
        for name, rows, table, indexes in tables:
            tell(f"  {name:18} {rows:12,.0f} rows {table / 1e6:9,.0f} MB, indexes {indexes / 1e6:8,.0f} MB")


def swept(store: Store, spent: Processor) -> None:
    """The minute's sweep with nothing new, as nearly every sweep is."""
    now = datetime.now(UTC)
    sweep(store, now)
    begun, ours, theirs = time.perf_counter(), time.process_time(), spent()
    told = sweep(store, now + timedelta(minutes=1))
    tell(
        f"sweep, nothing new: {time.process_time() - ours:.2f} + {spent() - theirs:.2f} s of CPU,"
        f" {time.perf_counter() - begun:.2f} s; {told.looked_at:,} open visits looked at"
    )


def night(jobs: Sequence[str], folder: Path, asked: argparse.Namespace, url: str, server: int) -> None:
    """What the night costs: PostgreSQL's own dump, the look at the journal, the program's own backup."""
    dump = Path(f"/proc/{server}/exe").resolve().with_name("pg_dump")
    lines = {
        "dump": [str(dump), "-Fc", "-f", str(folder / "dumped"), url.replace("+psycopg", "")],
        "journal": [asked.command, "journal", "verify", "--folder", str(folder)],
        "own": [asked.command, "backup", "--folder", str(folder), "--to", str(folder / "saved")],
    }
    spent = Processor(server)
    for job in jobs:
        begun, before, theirs = time.perf_counter(), sum(os.times()[2:4]), spent()
        done = subprocess.run(lines[job], capture_output=True, text=True)
        size = sum(p.stat().st_size for p in [folder / "dumped", *folder.glob("saved/*")] if p.is_file())
        tell(
            f"{job}: {time.perf_counter() - begun:.0f} s, CPU {sum(os.times()[2:4]) - before:.0f} +"
            f" {spent() - theirs:.0f} s, {size / 1e6:,.0f} MB {(done.stderr or done.stdout)[-200:].strip()}"
        )
        (folder / "dumped").unlink(missing_ok=True)


@contextmanager
def country(folder: Path, asked: argparse.Namespace) -> Iterator[tuple[str, Path, int]]:
    """The filled store's URL, the clinic it was grown from, and what an id has more at each further site."""
    today = datetime.now(UTC).date()
    clinic = folder / "clinic" / "followup.sqlite3"
    if asked.clinic:
        shutil.copytree(asked.clinic, clinic.parent, ignore=shutil.ignore_patterns("sheets"))
    else:
        sample_clinic(asked.command, clinic.parent, today)
        grow(clinic, patients=PATIENTS, visits=VISITS, today=today)
    try:
        url = _postgres(folder)
        source, target = (make_engine(one, pooled=False) for one in (sqlite_url(clinic), url))
        carry(source, target)
        begun = time.perf_counter()
        stride = grow_country(target, clinic, asked.clinics, asked.visits, today)
        call_the_night_done(target, today)
        took = time.perf_counter() - begun
        tell(f"{asked.clinics} clinics of {asked.visits:,} visits stored in {took:.0f} s")
        _do("ALTER SYSTEM SET fsync = on", "SELECT pg_reload_conf()", "CHECKPOINT")
        yield url, clinic, stride
    finally:
        bench_lists._SERVER["admin"].dispose()
        bench_lists._SERVER["server"].cleanup()


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--clinics", type=int, default=5)
    given.add_argument("--visits", type=int, default=60_000, help="of one clinic")
    given.add_argument("--rates", type=float, nargs="*", default=[2, 4, 8, 16])
    given.add_argument("--times", type=int, default=24, help="that each act is done alone")
    given.add_argument("--seconds", type=float, default=60)
    given.add_argument("--clinic", type=Path, help="a folder with a sample clinic of today, grown before")
    given.add_argument("--folder", type=Path)
    given.add_argument("--night", nargs="*", choices=["dump", "journal", "own"], default=["dump"])
    given.add_argument("--command", default=str(Path(sys.executable).with_name("followup")))
    asked = given.parse_args()
    with tempfile.TemporaryDirectory(dir=asked.folder, prefix="country-") as made, ExitStack() as after:
        folder = Path(made)
        url, clinic, stride = after.enter_context(country(folder, asked))
        engine = make_engine(url)
        sizes(engine)
        server_of = Processor(int((folder / "pg" / "postmaster.pid").read_text().split()[0]))
        os.environ["FOLLOWUP_DATABASE_URL"] = url
        servers = [Server(clinic.parent, asked.command) for _ in range(SERVERS)]
        try:
            machine = Machine(Processor(*(one.process.pid for one in servers)), server_of)
            desks = desks_of(engine, clinic, asked.clinics, stride, [one.base for one in servers])
            alone(desks, machine, asked.times)
            tell("memory of the servers: " + ", ".join(f"{one.memory():.0f} MB" for one in servers))
            for desk in desks:
                for role in DAY:
                    desk.person(role)
            for rate in asked.rates:
                if not under_load(desks, machine, rate, asked.seconds):
                    break
            tell("memory of the servers: " + ", ".join(f"{one.memory():.0f} MB" for one in servers))
        finally:
            for one in servers:
                one.stop()
        store = Store(engine)
        swept(store, server_of)
        store.close()
        night(asked.night, clinic.parent, asked, url, server_of.of[0])


if __name__ == "__main__":
    main()
