"""The pages served on a port of this computer, and the system's Chromium before them."""

from __future__ import annotations

import os
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import uvicorn
from argon2 import PasswordHasher
from one_app import AppOf
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from sound_page import AgainstWcag

from followup.care.passwords import Passwords
from followup.clinical.protocol.load import load_protocol
from followup.desks.door.hand import Desk
from followup.recall.codes.keyring import Keyring
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.house.staff import add_staff
from followup.records.plans.protocols import sign_protocol
from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store
from followup.records.views import SYSTEM, Actor

PASSWORD = "a long enough password"
DESK_SIZE, PHONE_SIZE = (1366, 768), (390, 844)
START = datetime(2027, 3, 1, 8, 30, tzinfo=UTC)
WCAG = AgainstWcag()
CHEAP = Passwords(PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
_FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--renderer-process-limit=1")
_QUIET = ("--disable-background-networking", "--disable-component-update", "--disable-sync")


@dataclass
class Port:
    """One address of this computer, where the clinics of a test process stand one after the other."""

    url: str
    app: AppOf
    keyring: Keyring


@dataclass(frozen=True)
class Scene:
    """A clinic as a story has left it, and what the next one has to know: an address, a sheet's id."""

    database: Path
    left: str = ""


class Served:
    """A clinic whose pages are served; the test moves its clock."""

    store: Store
    desk: Desk

    def __init__(self, port: Port, database: Path) -> None:
        self.url, self._port, self._database = port.url, port, database
        self.times = [START]

    def starts_from(self, scene: Scene) -> str:
        """On 1 March 2027 again, with the rows of that scene; what it has left."""
        self.closes()
        shutil.copy(scene.database, self._database)
        self.store = Store.open(sqlite_url(self._database))
        self.desk = Desk(self.store, load_protocol(), self._port.keyring, lambda: self.times[0], CHEAP)
        self._port.app.desk = self.desk
        return scene.left

    def closes(self) -> None:
        if hasattr(self, "store"):
            self.store.close()

    def on(self, day: int, hours: float = 8.5) -> None:
        """Go to ``day`` days after 1 March 2027, by the hour UTC."""
        self.times[0] = datetime(2027, 3, 1, tzinfo=UTC) + timedelta(days=day, hours=hours)

    def speak(self, language: str) -> None:
        """The staff's language."""
        with self.store.write(SYSTEM, self.times[0]) as unit:
            put_clinic(unit, replace(get_clinic(unit.session), staff_language=language))


@pytest.fixture(scope="session")
def port() -> Iterator[Port]:
    app = AppOf(None)  # type: ignore[arg-type]  # each test opens a clinic of its own
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    number = server.servers[0].sockets[0].getsockname()[1]
    yield Port(f"http://127.0.0.1:{number}", app, Keyring.fresh())
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="session")
def scene(
    port: Port,
    windows: Windows,
    furnish: Callable[[Store], Store],
    sqlite_template: Path,
    tmp_path_factory: pytest.TempPathFactory,
) -> Callable[[str], Scene]:
    """What many tests start from, by its name: played in the browser when a process first asks for it."""
    folder = tmp_path_factory.mktemp("scenes")

    @cache
    def reached(name: str) -> Scene:
        database = folder / f"{name}.db"
        if name not in STORIES:
            shutil.copy(sqlite_template, database)
            _open_house(furnish, database)
            return Scene(database)
        begin, story = STORIES[name]
        before = reached(begin)
        served = Served(port, database)
        served.starts_from(before)
        with windows.one() as page:
            left = story(Person(page, served, lambda _page, _name: None)) or before.left
        served.closes()
        return Scene(database, left)

    return reached


def _open_house(furnish: Callable[[Store], Store], database: Path) -> None:
    """The staff, and a protocol that is signed."""
    store, protocol = furnish(Store.open(sqlite_url(database))), load_protocol()
    with store.write(SYSTEM, START - timedelta(days=1)) as unit:
        for role in ("counsellor", "reception", "surgeon", "pharmacy", "manager"):
            add_staff(
                unit,
                login=role,
                name="Dr Sen" if role == "surgeon" else role.capitalize(),
                roles=[role],
                password_hash=CHEAP.hash(PASSWORD),
                registration="R-1" if role == "surgeon" else "",
            )
    with store.write(Actor("surgeon", frozenset({"surgeon"}), "Dr Sen", "R-1"), START) as unit:
        sign_protocol(unit, hash=protocol.hash, name=protocol.name, version=protocol.version)
    store.close()


@pytest.fixture
def served(port: Port, scene: Callable[[str], Scene], tmp_path: Path) -> Iterator[Served]:
    """On SQLite: what differs between the databases is tested where they are called, in the records' room."""
    served = Served(port, tmp_path / "followup.db")
    served.starts_from(scene("a house"))
    yield served
    served.closes()


@pytest.fixture
def entered(served: Served, scene: Callable[[str], Scene]) -> str:
    """The routine case is entered; the address of its plan."""
    return served.starts_from(scene("entered"))


@pytest.fixture
def signed(served: Served, scene: Callable[[str], Scene]) -> str:
    """Its plan is signed as well; the address of that."""
    return served.starts_from(scene("signed"))


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """The system's browser; none is downloaded. Its shell without windows shows the same for a quarter."""
    names = ("chromium-headless-shell", "chromium", "chromium-browser")
    path = next(filter(None, map(shutil.which, names)), None)
    if path is None:
        pytest.fail(
            "Chromium is missing: install it with  apt-get install -y chromium-headless-shell", pytrace=False
        )
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=path, args=[*_FLAGS, *_QUIET])
        yield browser
        browser.close()


class Windows:
    """Windows of the browser, as many at a time as are wanted, none of which knows anything of another.

    One that is closed is handed out again, empty: its process has read our scripts and axe-core before, which
    is half of what a page costs.
    """

    def __init__(self, chromium: Browser) -> None:
        self._chromium = chromium
        self._free: dict[bool, list[BrowserContext]] = {True: [], False: []}

    @contextmanager
    def one(self, size: tuple[int, int] = DESK_SIZE, *, scripts: bool = True) -> Iterator[Page]:
        free = self._free[scripts]
        context = free.pop() if free else self._another(scripts)
        page = context.new_page()
        page.set_viewport_size({"width": size[0], "height": size[1]})
        yield page
        # The first page stays, blank: with the last one of a window its process ends.
        for opened in context.pages[1:]:
            opened.close()
        context.clear_cookies()
        free.append(context)

    def _another(self, scripts: bool) -> BrowserContext:
        context = self._chromium.new_context(java_script_enabled=scripts)
        context.set_default_timeout(15_000)
        context.new_page()
        return context


@pytest.fixture(scope="session")
def windows(chromium: Browser) -> Windows:
    return Windows(chromium)


@dataclass
class Person:
    """Somebody in front of a browser. ``scripts``: whether it runs them."""

    page: Page
    served: Served
    take: Callable[[Page, str], None]
    scripts: bool = True

    def go(self, path: str) -> None:
        self.page.goto(f"{self.served.url}{path}")

    def follow(self, selector: str) -> None:
        """Click on what leads to another page, and wait until that has come whole."""
        self.follow_by(lambda: self.page.click(selector))

    def press(self, key: str = "Enter") -> None:
        """Press a key that leads to another page, and wait until that has come whole."""
        self.follow_by(lambda: self.page.keyboard.press(key))

    def follow_by(self, act: Callable[[], object]) -> None:
        with self.page.expect_navigation(wait_until="load"):
            act()

    def comes_as(self, role: str, path: str = "/") -> None:
        """Somebody with that role, on a page of theirs; the log-in's own page has stories of its own."""
        context = self.page.context
        context.clear_cookies()
        answer = context.request.post(
            f"{self.served.url}/log-in",
            form={"login": role, "password": PASSWORD},
            headers={"sec-fetch-site": "same-origin"},
            max_redirects=0,
        )
        assert answer.status == 303
        self.go(path)

    def log_in(self, role: str) -> None:
        self.go("/log-in")
        self.give_password(role)
        self.page.wait_for_url(lambda url: "log-in" not in url)

    def give_password(self, role: str) -> None:
        """On a page that asks who it is."""
        self.page.fill("#login", role)
        self.page.fill("#password", PASSWORD)
        self.press()

    def open_menu(self) -> None:
        """Unfold the strip, where it is folded into a menu."""
        menu = self.page.locator(".menu > summary")
        if menu.is_visible() and not self.page.locator(".menu[open]").count():
            menu.click()

    def log_out(self) -> None:
        self.open_menu()
        self.follow("form[action='/log-out'] button")
        self.page.wait_for_url("**/log-in")

    def shot(self, name: str) -> None:
        self.take(self.page, name)

    def sees_a_sound_page(self, name: str = "") -> None:
        """Nothing runs out sideways; axe-core finds nothing (WCAG 2.2 A and AA). ``name``: of its picture."""
        self.page.wait_for_load_state("load")
        wide = self.page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        if name:
            self.shot(name)
        assert wide <= 0, f"{self.page.url} scrolls sideways by {wide} px"
        if self.scripts:
            assert not (wrong := WCAG.wrong_on(self.page)), f"{self.page.url}: {wrong}"

    def enter_routine(self, code: str = "K-104", name: str = "Wanjiru Ndegwa", language: str = "en") -> int:
        """The routine case with the keyboard; how many entries it took."""
        typed = ROUTINE | {"patient.code": code, "patient.name": name, "patient.language": language}
        for field, value in typed.items():
            self.page.locator(f"[id='{field}']").focus()
            if field == "patient.language":
                self.page.select_option(f"[id='{field}']", value)
                continue
            self.page.keyboard.press("Control+A")
            self.page.keyboard.type(value)
        for field, answer in CHOSEN.items():
            self.page.locator(f"input[name='{field}'][value='{answer}']").focus()
            self.page.keyboard.press("Space")
        self.page.locator("[name='patient.drops_by.who']").first.focus()
        self.page.keyboard.press("ArrowDown")
        return len(typed) + len(CHOSEN) + 1

    def looks_at_cells(self, cells: str, pressure: str) -> None:
        """Today's findings in the row of an eye's page, with no sign of an infection."""
        self.page.fill("[id='reviews.0.pressure']", pressure)
        self.picks("reviews.0.cells", cells)
        self.page.check("[name='signs_none']")

    def picks(self, name: str, value: str) -> None:
        """One press on an answer that is a button."""
        self.page.check(f"[name='{name}'][value='{value}']")

    def saves_routine(self) -> str:
        """The counsellor enters the routine case; the address of its plan."""
        self.comes_as("counsellor")
        self.follow("text=Enter an operation")
        self.enter_routine()
        return self.saves()

    def saves(self) -> str:
        """What is entered; the address of its plan."""
        self.follow("text=Save record and see plan")
        return urlsplit(self.page.url).path

    def signs(self, plan: str) -> None:
        """The surgeon signs that plan on its own page."""
        self.comes_as("surgeon", plan)
        self.page.fill("#password", PASSWORD)
        self.follow("button:has-text('Sign plan')")

    def prints(self, press: Callable[[], object] | None = None) -> None:
        """Press "Print sheet": its pages open in a tab of their own. Then go to where it is handed over."""
        context = self.page.context
        with context.expect_event("response", lambda answer: answer.url.endswith("/paper.pdf")) as pages:
            (press or (lambda: self.page.click("form[action$='/sheets'] button.main")))()
        assert pages.value.status == 200
        address = pages.value.url.removesuffix("/paper.pdf")
        for tab in context.pages[1:]:
            if tab is not self.page:
                tab.close()
        self.page.goto(address)

    def marks_arrived(self) -> None:
        """Reception marks the routine patient as here."""
        self.comes_as("reception", "/patients/K-104")
        self.follow("text=Mark arrived")

    def arrives_on_day_7(self) -> None:
        self.served.on(7, 4)
        self.marks_arrived()

    def signs_ticked(self) -> None:
        """The surgeon signs the plan that waits, ticked on the list."""
        self.comes_as("surgeon")
        self.page.check("input[name='plan']")
        self.page.fill("#password", PASSWORD)
        self.follow("text=Sign ticked plans")

    def hands_over(self) -> str:
        """The counsellor prints the sheet of the routine patient's plan and hands it over; its id."""
        self.comes_as("counsellor", "/plans/1/preview")
        self.prints()
        self.page.fill("#to", "the patient")
        self.follow("text=Mark handed over")
        return self.page.url.rsplit("/", 1)[1]


# Where each scene begins, and what is done in it.
STORIES: dict[str, tuple[str, Callable[[Person], str | None]]] = {
    "entered": ("a house", Person.saves_routine),
    "signed": ("entered", Person.signs_ticked),
    "handed over": ("signed", Person.hands_over),
    "here on day 7": ("signed", Person.arrives_on_day_7),
}

ROUTINE = {
    "patient.code": "",
    "patient.name": "",
    "patient.birth_year": "1955",
    "patient.language": "en",
    "patient.telephones.0.number": "+44 20 7946 0123",
    "operations.0.surgeon": "Dr Sen",
}
CHOSEN = {
    "operations.0.eye_drawn": "right",
    "operations.0.eye": "right",
    "operations.0.viscoelastic.removed": "all",
    "operations.0.antibiotic_in_chamber": "yes",
}


@pytest.fixture
def open_page(windows: Windows) -> Iterator[Callable[..., Page]]:
    """Opens pages in browsers of their own that know nothing of each other."""
    with ExitStack() as opened:
        yield lambda *size, **more: opened.enter_context(windows.one(*size, **more))


@pytest.fixture
def shot(request: pytest.FixtureRequest) -> Callable[[Page, str], None]:
    """Keeps a picture of the page in the folder SCREENSHOTS, where one is named."""
    folder = os.environ.get("SCREENSHOTS")

    def take(page: Page, name: str) -> None:
        if folder:
            Path(folder).mkdir(parents=True, exist_ok=True)
            kind = "".join(c if c.isalnum() else "-" for c in request.node.name)[-40:]
            page.screenshot(path=str(Path(folder) / f"{name}-{kind}.png"), full_page=True)

    return take


@pytest.fixture
def person(served: Served, open_page: Callable[..., Page], shot: Callable[[Page, str], None]) -> Any:
    """``person(size, scripts=...)``: somebody new at a computer of their own."""

    def new(size: tuple[int, int] = DESK_SIZE, *, scripts: bool = True) -> Person:
        return Person(open_page(size, scripts=scripts), served, shot, scripts)

    return new
