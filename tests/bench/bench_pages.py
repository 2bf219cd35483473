"""What the desks add to a page: pages a second, and how long 1, 10 and 50 people wait, beside a bare page.

Run it by hand from the tree: ``PYTHONPATH=. python tests/bench/bench_pages.py [--seconds 20]
[--clinic FOLDER] [--people 1 10 50]``. The bare page is Starlette's own, with the same queries and the same
template, for somebody who is known beforehand: no log-in, no roles, no bounds, no headers. Both are served
by uvicorn from one grown sample clinic, one after the other, and everybody clicks again as soon as the page
is there. Each figure of the desks stands beside that of the bare page, with the ratio of the two.

Then the plan beside the record's form, as it is asked for while somebody types, by one person and by ten.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from functools import partial
from html.parser import HTMLParser
from pathlib import Path

import anyio.to_thread
import httpx2
import uvicorn
from bench_desks import Known, Person, Server, free_port, known_of, served
from grown_clinic import grow, sample_clinic
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from followup.cli.opening import opened, settings_from
from followup.cli.serving import desk_for, leave_alone_what_stays
from followup.desks.app import THREADS
from followup.desks.door.guard import look_up
from followup.desks.reception.reaching import to_reach
from followup.desks.reception.today import today

PAGES: dict[str, Callable[..., Response]] = {"/to-reach": to_reach, "/today": today}
ARGUMENTS: dict[str, dict[str, object]] = {"/to-reach": {}, "/today": {"on": None}}


def tell(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def bare(folder: Path, port: int) -> None:
    """Serve the bare pages; whoever asks first is who is known."""
    settings = settings_from(str(folder))
    with opened(settings) as store:
        known: list[object] = []

        def page(request: Request) -> Response:
            if not known:
                known.append(look_up(request))
            request.state.hand = known[0]
            path = request.url.path
            return PAGES[path](request, known[0], **ARGUMENTS[path])

        app = Starlette(routes=[Route(path, page) for path in PAGES])
        app.state.desk = desk_for(settings, store)

        async def serve() -> None:
            anyio.to_thread.current_default_thread_limiter().total_tokens = THREADS
            leave_alone_what_stays()
            await uvicorn.Server(
                uvicorn.Config(app, port=port, log_level="error", access_log=False, http="h11")
            ).serve()

        asyncio.run(serve())


@contextmanager
def bare_served(folder: Path, path: str, cookies: httpx2.Cookies) -> Iterator[str]:
    port = free_port()
    process = subprocess.Popen([sys.executable, __file__, "--bare", str(folder), "--port", str(port)])
    try:
        for _ in range(300):
            with suppress(httpx2.HTTPError):
                if httpx2.get(f"http://127.0.0.1:{port}{path}", cookies=cookies).status_code == 200:
                    break
            time.sleep(0.2)
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(20)


def crowd(
    people: int, seconds: float, click: Callable[[int], httpx2.Response], think: float = 0
) -> list[float]:
    """How long each click took, of so many people who click again when they have the page and have thought.

    ``think``: seconds, on average.
    """
    took: list[float] = []
    ends = time.monotonic() + seconds

    def one(number: int) -> None:
        dice = random.Random(number)
        while time.monotonic() < ends:
            time.sleep(dice.expovariate(1 / think) if think else 0)
            begun = time.monotonic()
            click(number).raise_for_status()
            took.append(time.monotonic() - begun)

    threads = [threading.Thread(target=one, args=(number,)) for number in range(people)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return took


def told(took: list[float], people: int) -> tuple[float, float, float]:
    """Pages a second of so many people, then in ms what half of all and 99 of 100 waited at most."""
    ordered = sorted(took)
    return (
        people * len(took) / sum(took),
        statistics.median(ordered) * 1000,
        ordered[min(len(ordered) - 1, int(len(ordered) * 0.99))] * 1000,
    )


def side_by_side(folder: Path, person: Person, people: list[int], seconds: float) -> None:
    """The same page of the desks and bare, by as many people."""
    cookies = person.web.cookies
    tell(f"{'page':10} {'people':>6} {'a second':>20} {'half waited ms':>22} {'99 of 100 ms':>22}")
    for path in PAGES:
        with bare_served(folder, path, cookies) as base:
            for number in people:
                found = []
                for where in (str(person.web.base_url).rstrip("/"), base):
                    webs = [
                        httpx2.Client(base_url=where, cookies=cookies, timeout=300) for _ in range(number)
                    ]
                    crowd(1, 1, lambda _one, webs=webs, path=path: webs[0].get(path))
                    took = crowd(number, seconds, lambda one, webs=webs, path=path: webs[one].get(path))
                    found.append(told(took, number))
                cells = [
                    f"{ours:8.1f} / {plain:.1f} = {ours / plain:.2f}"
                    for ours, plain in zip(*found, strict=True)
                ]
                tell(f"{path:10} {number:6} {cells[0]:>20} {cells[1]:>22} {cells[2]:>22}")


class _Fields(HTMLParser):
    """What a browser sends of the record's form as it stands."""

    def __init__(self) -> None:
        super().__init__()
        self.sent: dict[str, list[str]] = {}
        self._select = ""
        self._inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._inside = "data-preview" in given
        if not self._inside:
            return
        name, kind = given.get("name", ""), given.get("type", "text")
        if tag == "input" and name and (kind not in ("radio", "checkbox") or "checked" in given):
            self.sent.setdefault(name, []).append(given.get("value", ""))
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select and "selected" in given:
            self.sent[self._select] = [given.get("value", "")]


def _preview(typists: list[Person], forms: list[dict[str, list[str]]], number: int) -> httpx2.Response:
    return typists[number].web.post("/operations/preview", data=forms[number])


def while_typing(server: Server, known: Known, seconds: float) -> None:
    """The plan beside the form, by one person and by ten, each with another record."""
    tell(f"\n{'the plan while typing':24} {'people':>6} {'half ms':>9} {'95 of 100 ms':>12} {'most ms':>8}")
    for people in (1, 10):
        typists = [Person(server.base, "counsellor", known, number) for number in range(people)]
        forms = []
        for number, person in enumerate(typists):
            fields = _Fields()
            fields.feed(person.web.get(f"/patients/{known.codes[number * 7]}/record").text)
            forms.append(fields.sent)

        waited = crowd(people, seconds, partial(_preview, typists, forms), think=0 if people == 1 else 3)
        ordered = sorted(waited)
        tell(
            f"{'':24} {people:6} {statistics.median(ordered) * 1000:9.0f}"
            f" {ordered[min(len(ordered) - 1, int(len(ordered) * 0.95))] * 1000:12.0f}"
            f" {ordered[-1] * 1000:8.0f}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20)
    parser.add_argument("--people", type=int, nargs="+", default=[1, 10, 50])
    parser.add_argument("--clinic", type=Path, help="a folder of `followup demo --no-serve` of today")
    parser.add_argument("--command", default=str(Path(sys.executable).with_name("followup")))
    parser.add_argument("--bare", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--port", type=int, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.bare:
        bare(asked.bare, asked.port)
        return
    today = datetime.now(UTC).date()
    with tempfile.TemporaryDirectory(prefix="followup-bench-") as name:
        folder = Path(name) / "clinic"
        if asked.clinic:
            shutil.copytree(asked.clinic, folder, ignore=shutil.ignore_patterns("sheets"))
        else:
            sample_clinic(asked.command, folder, today)
        grow(folder / "followup.sqlite3", today=today)
        known = known_of(folder / "followup.sqlite3")
        with served(folder, asked.command) as server:
            side_by_side(folder, Person(server.base, "reception", known, 1), asked.people, asked.seconds)
            while_typing(server, known, asked.seconds)


if __name__ == "__main__":
    main()
