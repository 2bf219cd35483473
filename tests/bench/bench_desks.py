"""Fifty people at the desks: what each page costs alone, and how long people wait for it in a busy hour.

Run it by hand from the tree: ``PYTHONPATH=. python tests/bench/bench_desks.py [--minutes 10] [--people 50]
[--with-print 100] [--with-import 1000] [--clinic FOLDER] [--out FILE]``; with ``--minutes 0`` nobody comes
and each page is asked alone.

It makes the sample clinic, grows it to 1,000 patients with 160 visits on the day (``grown_clinic``), and
serves it with ``followup serve`` on a free port of this computer. First every page is asked alone: CPU time
of the server, bytes, and the CPU time as a multiple of that of the bare page ``/healthz``. Then people come:
each does what stands in ``DAY`` and thinks in between. A page counts from the click to its last byte. Nothing
is judged: whoever compares two states runs both on one computer.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path

import httpx2
from grown_clinic import PATIENTS, VISITS, grow, operated_on, records_to_import, sample_clinic

PASSWORD = "sample clinic"
TICKS = os.sysconf("SC_CLK_TCK")
ALONE = 6  # times that each page is asked alone, after one that warms it


@dataclass(frozen=True)
class Role:
    """``share`` of fifty people; ``think``: seconds between two pages; ``does``: what, with its weight."""

    share: int
    think: float
    does: Mapping[str, int]


# A busy hour: 50 people ask for some 2.2 pages a second.
DAY: dict[str, Role] = {
    "reception": Role(20, 20, {"today": 4, "find": 4, "patient": 4, "arrived": 3, "to reach": 3, "calls": 1}),
    "counsellor": Role(12, 25, {"operations": 2, "patient": 3, "record": 3, "plan": 2, "sheet": 3}),
    "surgeon": Role(8, 20, {"my patients": 3, "eye": 4, "plan": 3, "waiting": 2}),
    "pharmacy": Role(6, 20, {"bottles": 3, "given": 1}),
    "manager": Role(4, 60, {"forecast": 2, "outcomes": 1}),
}


@dataclass(frozen=True)
class Known:
    """Whom the pages are asked for."""

    codes: list[str]
    eyes: list[tuple[str, str]]
    plans: list[int]
    sheets: list[str]
    names: list[str]


@dataclass
class Asked:
    """What came of one kind of page."""

    seconds: list[float] = field(default_factory=list)
    sizes: list[int] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)


class Person:
    """One browser, logged in, with dice of its own."""

    def __init__(self, base: str, role: str, known: Known, seed: int) -> None:
        self.role, self.known, self.dice = role, known, random.Random(seed)
        # As a browser: no connection is used again that the server may be closing.
        kept = httpx2.Limits(keepalive_expiry=3)
        self.web = httpx2.Client(base_url=base, headers={"origin": base}, timeout=120, limits=kept)
        answer = self.web.post("/log-in", data={"login": role, "password": PASSWORD})
        if answer.status_code != 303:
            raise SystemExit(f"{role} can't log in: {answer.status_code}")
        self.page = ""

    def do(self, what: str) -> httpx2.Response:
        """One click; a form that is pressed is answered with the page that it leads to."""
        return getattr(self, "_" + what.replace(" ", "_"))()

    def _get(self, address: str) -> httpx2.Response:
        return self.web.get(address, follow_redirects=True)

    def _today(self) -> httpx2.Response:
        answer = self._get("/today")
        self.page = answer.text
        return answer

    def _arrived(self) -> httpx2.Response:
        """Mark somebody of the page that was read; the first who looks at the list reads it before."""
        forms = re.findall(
            r'action="/trips/(\d+)/arrived"><input type="hidden" name="nonce"\s+value="([^"]+)"', self.page
        )
        if not forms:
            return self._today()
        trip, nonce = self.dice.choice(forms)
        sent = {"nonce": nonce, "from": "day"}
        answer = self.web.post(f"/trips/{trip}/arrived", data=sent, follow_redirects=True)
        self.page = answer.text
        # Two people may mark the same person: that is told in words, and is no fault.
        return answer if answer.status_code != 409 else self._today()

    def _given(self) -> httpx2.Response:
        page = self._get("/bottles")
        form = re.search(r'action="(/bottles/[^"]+/given)">(.*?)</form>', page.text, re.DOTALL)
        if form is None:
            return page
        fields = re.findall(r'name="(\w+)" value="([^"]*)"', form[2])
        sent: dict[str, list[str]] = defaultdict(list)
        for name, value in fields:
            sent[name].append(value.replace("&#39;", "'").replace("&amp;", "&"))
        answer = self.web.post(form[1].replace("&amp;", "&"), data=sent, follow_redirects=True)
        return answer if answer.status_code not in (409, 422) else page

    def _find(self) -> httpx2.Response:
        words = self.dice.choice((self.dice.choice(self.known.names), self.dice.choice(self.known.codes)))
        return self.web.post("/find", data={"text": words}, follow_redirects=True)

    def _to_reach(self) -> httpx2.Response:
        return self._get("/to-reach")

    def _calls(self) -> httpx2.Response:
        return self._get("/calls")

    def _patient(self) -> httpx2.Response:
        return self._get(f"/patients/{self.dice.choice(self.known.codes)}")

    def _record(self) -> httpx2.Response:
        return self._get(f"/patients/{self.dice.choice(self.known.codes)}/record")

    def _plan(self) -> httpx2.Response:
        return self._get(f"/plans/{self.dice.choice(self.known.plans)}")

    def _sheet(self) -> httpx2.Response:
        return self._get(f"/sheets/{self.dice.choice(self.known.sheets)}")

    def _operations(self) -> httpx2.Response:
        return self._get("/operations")

    def _my_patients(self) -> httpx2.Response:
        return self._get("/my-patients")

    def _eye(self) -> httpx2.Response:
        code, eye = self.dice.choice(self.known.eyes)
        return self._get(f"/patients/{code}/eyes/{eye}")

    def _waiting(self) -> httpx2.Response:
        return self._get("/waiting")

    def _bottles(self) -> httpx2.Response:
        return self._get("/bottles")

    def _forecast(self) -> httpx2.Response:
        return self._get("/forecast")

    def _outcomes(self) -> httpx2.Response:
        return self._get("/outcomes")


def known_of(database: Path) -> Known:
    """Patients with a plan in force, and what hangs on them."""
    with sqlite3.connect(database) as store:
        codes = [
            row[0]
            for row in store.execute(
                "SELECT p.code FROM patient p JOIN care_plan c ON c.patient_id = p.id"
                " WHERE c.status = 'active'"
            )
        ]
        return Known(
            codes,
            list(
                store.execute(
                    "SELECT DISTINCT p.code, o.eye FROM patient p JOIN operation o ON o.patient_id"
                    " = p.id JOIN care_plan c ON c.patient_id = p.id WHERE c.status = 'active'"
                )
            ),
            [row[0] for row in store.execute("SELECT id FROM care_plan WHERE status = 'active'")],
            [row[0] for row in store.execute("SELECT id FROM sheet WHERE replaced_at IS NULL")],
            [row[0].split()[0] for row in store.execute("SELECT name FROM patient")],
        )


def free_port() -> int:
    """A port of this computer that nothing listens on."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


class Server:
    """``followup serve``, with what it takes of the computer."""

    def __init__(self, folder: Path, command: str) -> None:
        port = free_port()
        self.base = f"http://127.0.0.1:{port}"
        self.process = subprocess.Popen(
            [command, "serve", "--folder", str(folder), "--host", "127.0.0.1", "--port", str(port)],
            stdout=subprocess.DEVNULL,
            stderr=(folder / "serve.log").open("w"),
        )
        for _ in range(300):
            with suppress(httpx2.HTTPError):
                if httpx2.get(f"{self.base}/readyz").status_code == 200:
                    break
            time.sleep(0.2)
        else:
            raise SystemExit("the server did not come up; see serve.log")
        self._settle()

    def _settle(self) -> None:
        """The first minute's work of the day is no page's."""
        before = -1.0
        while self.cpu() - before > 0.1:
            before = self.cpu()
            time.sleep(2)

    def cpu(self) -> float:
        """Seconds of CPU time that the server itself took until now, without its typesetter."""
        parts = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(parts[11]) + int(parts[12])) / TICKS

    def memory(self) -> float:
        """Resident memory in MB."""
        lines = Path(f"/proc/{self.process.pid}/status").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) / 1024

    def stop(self) -> None:
        self.process.terminate()
        with suppress(subprocess.TimeoutExpired):
            self.process.wait(20)
        self.process.kill()


@contextmanager
def served(folder: Path, command: str) -> Iterator[Server]:
    server = Server(folder, command)
    try:
        yield server
    finally:
        server.stop()


def alone(server: Server, known: Known, tell: Callable[[str], None]) -> None:
    """Each page by itself: what the server works for it."""
    tell(f"{'alone':12} {'CPU ms':>8} {'x bare':>7} {'bytes':>9}")
    web = httpx2.Client(base_url=server.base)
    before = server.cpu()
    for _ in range(200):
        web.get("/healthz")
    bare = (server.cpu() - before) / 200
    tell(f"{'/healthz':12} {bare * 1000:8.1f} {1:7.1f} {15:9}")
    for role, row in DAY.items():
        person = Person(server.base, role, known, 1)
        for what in row.does:
            if what in ("arrived", "given"):
                continue  # a click that changes something can't be made again
            person.do(what)
            before, answers = server.cpu(), [person.do(what) for _ in range(ALONE)]
            spent = (server.cpu() - before) / ALONE
            size = statistics.median(len(answer.content) for answer in answers)
            wrong = {answer.status_code for answer in answers if answer.status_code >= 400}
            tell(f"{what:12} {spent * 1000:8.1f} {spent / bare:7.1f} {size:9.0f} {wrong or ''}")


def at_work(person: Person, role: Role, ends: float, found: dict[str, Asked], start: float) -> None:
    """One person until the end: think, click, read."""
    time.sleep(start)
    while True:
        thought = min(person.dice.expovariate(1 / role.think), 3 * role.think)
        time.sleep(max(0, min(thought, ends - time.monotonic())))
        if time.monotonic() >= ends:
            return
        what = person.dice.choices(list(role.does), list(role.does.values()))[0]
        asked, begun = found[what], time.monotonic()
        try:
            answer = person.do(what)
        except httpx2.HTTPError as error:
            asked.wrong.append(type(error).__name__)
            continue
        asked.seconds.append(time.monotonic() - begun)
        asked.sizes.append(len(answer.content))
        if answer.status_code >= 400:
            asked.wrong.append(str(answer.status_code))


def print_job(server: Server, known: Known, day: date, found: dict[str, Asked]) -> None:
    """The sheets of a day, issued and set as one document; the click and the document apart."""
    person = Person(server.base, "counsellor", known, 7)
    steps: list[tuple[str, Callable[[], httpx2.Response]]] = [
        ("issue sheets", lambda: person.web.post("/operations/sheets", data={"on": str(day)}, timeout=900)),
        ("their PDF", lambda: person.web.get(f"/operations/sheets.pdf?on={day}", timeout=900)),
    ]
    for name, step in steps:
        begun = time.monotonic()
        answer = step()
        found[name].seconds.append(time.monotonic() - begun)
        found[name].sizes.append(len(answer.content))
        if answer.status_code >= 400:
            found[name].wrong.append(str(answer.status_code))


def import_job(command: str, folder: Path, lines: str, found: dict[str, Asked]) -> None:
    """Many records by another process, as somebody at this computer would."""
    file = folder / "import.jsonl"
    file.write_text(lines)
    begun = time.monotonic()
    done = subprocess.run(
        [command, "import", str(file), "--folder", str(folder)], capture_output=True, text=True
    )
    found["import"].seconds.append(time.monotonic() - begun)
    found["import"].sizes.append(0)
    if done.returncode:
        found["import"].wrong.append(done.stderr.strip()[:200])


def together(
    server: Server,
    known: Known,
    people: int,
    minutes: float,
    jobs: list[Callable[[dict[str, Asked]], None]],
    tell: Callable[[str], None],
) -> None:
    """Everybody at once; the ``jobs`` begin after a sixth of the time."""
    found: dict[str, Asked] = defaultdict(Asked)
    crowd = [
        (Person(server.base, name, known, number), role)
        for name, role in DAY.items()
        for number in range(round(role.share * people / 50))
    ]
    begun, cpu, memory = time.monotonic(), server.cpu(), server.memory()
    ends = begun + minutes * 60
    threads = [
        threading.Thread(target=at_work, args=(person, role, ends, found, person.dice.random() * role.think))
        for person, role in crowd
    ]
    threads += [threading.Thread(target=_after, args=(minutes * 10, job, found)) for job in jobs]
    most = memory
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads):
        time.sleep(1)
        most = max(most, server.memory())
    spent, took = server.cpu() - cpu, time.monotonic() - begun
    tell(
        f"\n{len(crowd)} people, {took:.0f} s: {sum(len(a.seconds) for a in found.values())} pages,"
        f" the server busy {spent / took:.0%} of one core; memory {memory:.0f} MB at the start,"
        f" {most:.0f} at most, {server.memory():.0f} at the end"
    )
    tell(f"{'page':12} {'times':>6} {'median ms':>9} {'p95 ms':>8} {'most ms':>8} {'bytes':>9} errors")
    every = [second for asked in found.values() for second in asked.seconds]
    wrong = [said for asked in found.values() for said in asked.wrong]
    for what, asked in [*found.items(), ("all", Asked(every, [0], wrong))]:
        if asked.seconds:
            ordered = sorted(asked.seconds)
            tell(
                f"{what:12} {len(ordered):6} {statistics.median(ordered) * 1000:9.0f}"
                f" {ordered[int(len(ordered) * 0.95)] * 1000:8.0f} {ordered[-1] * 1000:8.0f}"
                f" {statistics.median(asked.sizes):9.0f} {len(asked.wrong)} {sorted(set(asked.wrong)) or ''}"
            )


def _after(seconds: float, job: Callable[[dict[str, Asked]], None], found: dict[str, Asked]) -> None:
    time.sleep(seconds)
    job(found)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--people", type=int, default=50)
    parser.add_argument("--patients", type=int, default=PATIENTS)
    parser.add_argument("--visits", type=int, default=VISITS)
    parser.add_argument("--with-print", type=int, default=0, metavar="SHEETS")
    parser.add_argument("--with-import", type=int, default=0, metavar="RECORDS")
    parser.add_argument("--clinic", type=Path, help="a folder of `followup demo --no-serve` of today")
    parser.add_argument("--command", default=str(Path(sys.executable).with_name("followup")))
    parser.add_argument("--out", type=Path, help="write the tables there too")
    asked = parser.parse_args()
    said: list[str] = []

    def tell(line: str) -> None:
        said.append(line)
        sys.stdout.write(line + "\n")
        sys.stdout.flush()

    today = datetime.now(UTC).date()
    with tempfile.TemporaryDirectory(prefix="followup-bench-") as name:
        folder = Path(name) / "clinic"
        if asked.clinic:
            shutil.copytree(asked.clinic, folder, ignore=shutil.ignore_patterns("sheets"))
        else:
            sample_clinic(asked.command, folder, today)
        database = folder / "followup.sqlite3"
        grow(database, patients=asked.patients, visits=asked.visits, today=today)
        jobs: list[Callable[[dict[str, Asked]], None]] = []
        if asked.with_print:
            operated_on(database, today, asked.with_print)
        # After that: nobody asks for a sheet that was taken out.
        known = known_of(database)
        lines = records_to_import(database, asked.with_import) if asked.with_import else ""
        with served(folder, asked.command) as server:
            tell(f"{len(known.codes)} patients with a plan; memory of the server {server.memory():.0f} MB")
            alone(server, known, tell)
            if asked.with_print:
                jobs.append(lambda found: print_job(server, known, today, found))
            if asked.with_import:
                jobs.append(lambda found: import_job(asked.command, folder, lines, found))
            if asked.minutes:
                together(server, known, asked.people, asked.minutes, jobs, tell)
    if asked.out:
        asked.out.write_text("\n".join(said) + "\n")


if __name__ == "__main__":
    main()
