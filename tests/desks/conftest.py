"""A clinic with staff and a log-in for each, its pages driven over HTTP as a browser would."""

from __future__ import annotations

import io
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from time import sleep
from typing import Any, cast

import pypdfium2  # type: ignore[import-untyped]
import pytest
from argon2 import PasswordHasher
from httpx2 import Client
from one_app import AppOf, browser_of
from two_sites import TwoSites, two_sites

from followup.care.house.account import LIFETIME
from followup.care.passwords import Passwords
from followup.clinical.protocol.load import load_protocol
from followup.clinical.protocol.protocol import Protocol
from followup.desks.door.hand import Desk
from followup.recall.codes.keyring import Keyring
from followup.records.house.staff import add_staff, open_session, staff_by_login
from followup.records.plans.protocols import sign_protocol
from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store
from followup.records.views import SYSTEM, Actor
from followup.sheets.paper.typesetter import Typesetter

PASSWORD = "a long enough password"
ROLES = ("counsellor", "reception", "surgeon", "pharmacy", "manager")
# Cheap hashes: the tests log in hundreds of times. The real cost is the library's default.
CHEAP = Passwords(PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
OPERATED = date(2027, 3, 1)


@pytest.fixture(scope="session")
def protocol() -> Protocol:
    return load_protocol()


@pytest.fixture
def store(request: pytest.FixtureRequest) -> Store:
    """On SQLite: whatever a desk asks of the database is asked, and tested on both, in the records' room.

    A test or module that names ``database_kind`` runs on each of both.
    """
    on_each = "database_kind" in request.fixturenames
    return cast("Store", request.getfixturevalue("each_store" if on_each else "staffed_store"))


@pytest.fixture(scope="session")
def staffed_template(
    sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory, furnish: Callable[[Store], Store]
) -> Path:
    """A SQLite file with the clinic and its staff: every test gets a copy, which takes no transaction."""
    path = tmp_path_factory.mktemp("staffed") / "followup.db"
    shutil.copy(sqlite_template, path)
    store = furnish(Store.open(sqlite_url(path)))
    _take_on(store)
    store.close()
    return path


@pytest.fixture
def staffed_store(staffed_template: Path, tmp_path: Path, open_store: Callable[[str], Store]) -> Store:
    path = tmp_path / "followup.db"
    shutil.copy(staffed_template, path)
    return open_store(sqlite_url(path))


@dataclass
class Clock:
    """A clock that the test moves. It begins on the day of the operation at 14:00 in Kolkata."""

    now: datetime = datetime(2027, 3, 1, 8, 30, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def on(self, day: int, hours: float = 8.5) -> None:
        """Go to ``day`` days after the operation."""
        midnight = datetime(2027, 3, 1, tzinfo=UTC)
        self.now = midnight + timedelta(days=day, hours=hours)


@dataclass
class House:
    """The application, its store and its clock, with a browser for whoever is asked for."""

    store: Store
    desk: Desk
    clock: Clock
    base_url: str = "http://clinic.test"
    _app: Any = field(init=False)

    def __post_init__(self) -> None:
        self._app = AppOf(self.desk)

    def browser(self) -> Client:
        """A browser that nobody has logged in with."""
        return browser_of(self._app, self.base_url)

    def log_in(self, login: str, password: str = "") -> Client:
        """A browser in which ``login`` is logged in; log-in names are the roles.

        With a password by the form, as people do: where the log-in is looked at. Else as ``enter`` does.
        """
        if not password:
            return self.enter(login)
        browser = self.browser()
        answer = browser.post("/log-in", data={"login": login, "password": password})
        assert answer.status_code == 303, answer.text
        return browser

    def enter(self, login: str) -> Client:
        """The session is made in the store, as a log-in makes it."""
        with self.store.read() as session:
            person = staff_by_login(session, login)
        assert person is not None
        with self.store.write(person.actor, self.clock.now) as unit:
            token = open_session(unit, login=login, lifetime=LIFETIME)
        browser = self.browser()
        browser.cookies.set("followup", token)
        return browser

    def sign_protocol(self) -> None:
        """The clinic's surgeon approves the protocol."""
        protocol = self.desk.protocol
        with self.store.write(
            Actor("surgeon", frozenset({"surgeon"}), "Dr Sen", "R-1"), self.clock.now
        ) as unit:
            sign_protocol(unit, hash=protocol.hash, name=protocol.name, version=protocol.version)


def _take_on(store: Store) -> None:
    """The staff, a day before the clock begins."""
    with store.write(SYSTEM, Clock.now - timedelta(days=1)) as unit:
        for role in ROLES:
            name = "Dr Sen" if role == "surgeon" else role.capitalize()
            registration = "R-1" if role == "surgeon" else ""
            add_staff(
                unit,
                login=role,
                name=name,
                roles=[role],
                password_hash=_hashed(),
                registration=registration,
            )


@cache
def _hashed() -> str:
    return CHEAP.hash(PASSWORD)


def _house(store: Store, protocol: Protocol) -> House:
    with store.read() as session:
        staffed = staff_by_login(session, ROLES[0])
    if not staffed:
        _take_on(store)
    clock = Clock()
    return House(store, Desk(store, protocol, Keyring.fresh(), clock, CHEAP), clock)


@pytest.fixture
def house(store: Store, protocol: Protocol) -> House:
    return _house(store, protocol)


@pytest.fixture(scope="session")
def house_of(protocol: Protocol) -> Callable[..., House]:
    """Opens the desks on a store of one's own; a desk is given ``more``."""

    def opened(store: Store, **more: Any) -> House:
        house = _house(store, protocol)
        return House(store, replace(house.desk, **more), house.clock)

    return opened


@pytest.fixture(scope="session")
def scene(
    sqlite_template: Path,
    tmp_path_factory: pytest.TempPathFactory,
    furnish: Callable[[Store], Store],
    protocol: Protocol,
) -> Iterator[TwoSites]:
    """Two sites with their patients and staff, made once: whoever asks leaves them as they are."""
    path = tmp_path_factory.mktemp("sites") / "followup.db"
    shutil.copy(sqlite_template, path)
    store = furnish(Store.open(sqlite_url(path)))
    yield two_sites(_house(store, protocol))
    store.close()


class _Forms(HTMLParser):
    """Every form of a page with the values that a browser would send if nothing were touched."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[dict[str, Any]] = []
        self._select: str | None = None
        self._textarea: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {key: value or "" for key, value in attrs}
        if tag == "form":
            self.forms.append({"action": found.get("action"), "values": {}, "buttons": []})
        elif not self.forms:
            return
        elif tag == "input" and "name" in found:
            self._input(found)
        elif tag == "select":
            self._select = found.get("name")
        elif tag == "option" and self._select and ("selected" in found or self._first_option()):
            self.forms[-1]["values"][self._select] = [found.get("value", "")]
        elif tag == "textarea":
            self._textarea = found.get("name")
            self.forms[-1]["values"][self._textarea] = [""]
        elif tag == "button":
            self.forms[-1]["buttons"].append(found)

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = None
        elif tag == "textarea":
            self._textarea = None

    def handle_data(self, data: str) -> None:
        if self._textarea and self.forms:
            self.forms[-1]["values"][self._textarea] = [data]

    def _first_option(self) -> bool:
        return self._select not in self.forms[-1]["values"]

    def _input(self, found: dict[str, str]) -> None:
        kind = found.get("type", "text")
        if kind in ("radio", "checkbox") and "checked" not in found:
            return
        values = self.forms[-1]["values"].setdefault(found["name"], [])
        values.append(found.get("value", ""))


@pytest.fixture(scope="session")
def form_of() -> Callable[[str, str], dict[str, list[str]]]:
    """Reads a page: the values of the form with this action ("" for the page's own address)."""

    def read(html: str, action: str = "") -> dict[str, list[str]]:
        parser = _Forms()
        parser.feed(html)
        for form in parser.forms:
            if (form["action"] or "") == action:
                return dict(form["values"])
        raise AssertionError(f"no form {action!r} on the page, only {[f['action'] for f in parser.forms]}")

    return read


@pytest.fixture(scope="session")
def words_of() -> Callable[[str], str]:
    """The words of a page without its tags."""

    def read(html: str) -> str:
        bare = re.sub(r"<(script|style|svg).*?</\1>", " ", html, flags=re.S)
        return " ".join(re.sub(r"<[^>]+>", " ", bare).replace("&#39;", "'").replace("&amp;", "&").split())

    return read


@pytest.fixture
def routine() -> dict[str, list[str]]:
    """What a counsellor types for an uneventful operation; everything else is chosen already."""
    return {
        "patient.code": ["K-104"],
        "patient.name": ["Wanjiru Ndegwa"],
        "patient.birth_year": ["1955"],
        "patient.language": ["en"],
        "patient.telephones.0.number": ["+44 20 7946 0123"],
        "operations.0.eye": ["right"],
        "operations.0.eye_drawn": ["right"],
        "operations.0.viscoelastic.removed": ["all"],
        "operations.0.antibiotic_in_chamber": ["yes"],
        "patient.drops_by": ["yes"],
        "patient.drops_by.who": ["relative"],
    }


@pytest.fixture
def empty_paper(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every sheet comes out at once as an empty page: for what is asked of a print and not read on it.

    What is set from which content is tested in the sheets' room.
    """
    document = pypdfium2.PdfDocument.new()
    document.new_page(595, 842)
    written = io.BytesIO()
    document.save(written)
    document.close()

    def typeset(_setter: Typesetter, _job: dict[str, Any]) -> bytes:
        # A real one takes its time, in which others come in between.
        sleep(0.02)
        return written.getvalue()

    monkeypatch.setattr(Typesetter, "typeset", typeset)


@pytest.fixture
def fresh_browser(house: House) -> Iterator[Client]:
    with house.browser() as browser:
        yield browser
