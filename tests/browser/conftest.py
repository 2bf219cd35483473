"""The pages served on a port of this computer, and the system's Chromium before them."""

from __future__ import annotations

import os
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from argon2 import PasswordHasher
from axe_playwright_python.sync_playwright import Axe
from one_app import AppOf
from playwright.sync_api import Browser, Page, sync_playwright

from followup.care.passwords import Passwords
from followup.clinical.protocol.load import load_protocol
from followup.desks.door.hand import Desk
from followup.recall.codes.keyring import Keyring
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.house.staff import add_staff
from followup.records.plans.protocols import sign_protocol
from followup.records.store.store import Store
from followup.records.views import SYSTEM, Actor

PASSWORD = "a long enough password"
DESK_SIZE, PHONE_SIZE = (1366, 768), (390, 844)
CHEAP = Passwords(PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
_FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run")
_QUIET = ("--disable-background-networking", "--disable-component-update", "--disable-sync")


@dataclass
class Served:
    """A clinic whose pages are served; the test moves its clock."""

    url: str
    store: Store
    desk: Desk
    times: list[datetime]

    def on(self, day: int, hours: float = 8.5) -> None:
        """Go to ``day`` days after 1 March 2027, by the hour UTC."""
        self.times[0] = datetime(2027, 3, 1, tzinfo=UTC) + timedelta(days=day, hours=hours)

    def speak(self, language: str) -> None:
        """The staff's language."""
        with self.store.write(SYSTEM, self.times[0]) as unit:
            put_clinic(unit, replace(get_clinic(unit.session), staff_language=language))


@pytest.fixture
def served(sqlite_store: Store) -> Iterator[Served]:
    """On SQLite: what differs between the databases is tested where they are called, in the records' room."""
    store = sqlite_store
    protocol, times = load_protocol(), [datetime(2027, 3, 1, 8, 30, tzinfo=UTC)]
    with store.write(SYSTEM, times[0] - timedelta(days=1)) as unit:
        for role in ("counsellor", "reception", "surgeon", "pharmacy", "manager"):
            add_staff(
                unit,
                login=role,
                name="Dr Sen" if role == "surgeon" else role.capitalize(),
                roles=[role],
                password_hash=CHEAP.hash(PASSWORD),
                registration="R-1" if role == "surgeon" else "",
            )
    with store.write(Actor("surgeon", frozenset({"surgeon"}), "Dr Sen", "R-1"), times[0]) as unit:
        sign_protocol(unit, hash=protocol.hash, name=protocol.name, version=protocol.version)
    desk = Desk(store, protocol, Keyring.fresh(), lambda: times[0], CHEAP)
    server = uvicorn.Server(uvicorn.Config(AppOf(desk), port=0, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield Served(f"http://127.0.0.1:{port}", store, desk, times)
    server.should_exit = True
    thread.join(10)


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
            assert not (wrong := _against_wcag(self.page)), f"{self.page.url}: {wrong}"

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
        """The counsellor enters the routine case and logs out; the address of its plan."""
        self.log_in("counsellor")
        self.follow("text=Enter an operation")
        self.enter_routine()
        self.follow("text=Save record and see plan")
        plan = self.page.url
        self.log_out()
        return plan

    def prints(self, press: Callable[[], object] | None = None) -> None:
        """Press "Print sheet": its pages open in a tab of their own. Then go to where it is handed over."""
        context = self.page.context
        with context.expect_event("response", lambda answer: answer.url.endswith("/paper.pdf")) as pages:
            (press or (lambda: self.page.click("form[action$='/sheets'] button.main")))()
        assert pages.value.status == 200
        address = pages.value.url.removesuffix("/paper.pdf")
        for tab in context.pages:
            if tab is not self.page:
                tab.close()
        self.page.goto(address)

    def marks_arrived(self) -> None:
        """Reception marks the routine patient as here, and logs out."""
        self.log_in("reception")
        self.go("/patients/K-104")
        self.follow("text=Mark arrived")
        self.log_out()

    def signs_ticked(self) -> None:
        """The surgeon signs the plan that waits, ticked on the list, and logs out."""
        self.log_in("surgeon")
        self.page.check("input[name='plan']")
        self.page.fill("#password", PASSWORD)
        self.follow("text=Sign ticked plans")
        self.log_out()


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


AXE = Axe()
_BAR = "position => document.querySelectorAll('.do').forEach(bar => bar.style.position = position)"


def _against_wcag(page: Page) -> list[tuple[str, str, str]]:
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    # What the bar at the foot covers for now comes out by scrolling: sizes are measured without it.
    page.evaluate(_BAR, "static")
    page.evaluate(AXE.axe_script)
    # What is right on a page is no news: told as well, it costs more than the check itself.
    found = page.evaluate(
        "options => axe.run(options).then(found => found.violations)",
        {"runOnly": {"type": "tag", "values": tags}, "resultTypes": ["violations"]},
    )
    page.evaluate(_BAR, "")
    return [
        (v["id"], v["nodes"][0]["html"][:160], v["nodes"][0].get("failureSummary", "")[:200]) for v in found
    ]


@pytest.fixture
def open_page(chromium: Browser) -> Iterator[Callable[..., Page]]:
    """Opens pages in browsers of their own that know nothing of each other."""
    opened: list[Any] = []

    def open_one(size: tuple[int, int] = DESK_SIZE, *, scripts: bool = True) -> Page:
        width, height = size
        context = chromium.new_context(
            viewport={"width": width, "height": height}, java_script_enabled=scripts
        )
        context.set_default_timeout(15_000)
        opened.append(context)
        return context.new_page()

    yield open_one
    for context in opened:
        context.close()


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
