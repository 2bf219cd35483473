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
from playwright.sync_api import Browser, Page, sync_playwright

from followup.clinical.protocol import load_protocol
from followup.desks.app import create_app
from followup.desks.desk import Desk
from followup.desks.security.passwords import Passwords
from followup.recall.keyring import Keyring
from followup.records.clinics import get_clinic, put_clinic
from followup.records.protocols import sign_protocol
from followup.records.staff import add_staff
from followup.records.store import Store
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
def served(store: Store) -> Iterator[Served]:
    """On each of both databases."""
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
    server = uvicorn.Server(uvicorn.Config(create_app(desk), port=0, log_level="error"))
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
    """The system's browser; none is downloaded."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        pytest.fail("Chromium is missing: install it with  apt-get install -y chromium", pytrace=False)
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=path, args=[*_FLAGS, *_QUIET])
        yield browser
        browser.close()


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
