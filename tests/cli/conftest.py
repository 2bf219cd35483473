"""The command line as a program of its own, far from the checkout."""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine

from followup.cli import cli
from followup.cli.contract import run
from followup.demo.cast import case_data
from followup.language.catalogue_files import bind_clinic
from followup.records.store.engine import sqlite_url
from followup.records.store.journal import verify_journal
from followup.records.store.store import Store

PROGRAM = Path(sys.executable).with_name("followup")
PASSWORD = "a long enough password"
Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture(autouse=True)
def unbound() -> Iterator[None]:
    """A command that runs in this process binds its clinic's own words; the tests after it have none."""
    yield
    bind_clinic(None)


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    """Nothing of a real clinic's settings, and a data folder of the test's own."""
    env = {name: value for name, value in os.environ.items() if not name.startswith("FOLLOWUP_")}
    return {**env, "FOLLOWUP_FOLDER": str(tmp_path / "data")}


@pytest.fixture
def followup(tmp_path: Path, environment: dict[str, str]) -> Run:
    """Runs the installed ``followup`` in an empty folder."""

    def call(*arguments: str, stdin: str | None = None, **env: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [str(PROGRAM), *arguments],
            cwd=tmp_path,
            env={**environment, **env},
            input=stdin,
            stdin=None if stdin is not None else subprocess.DEVNULL,
            capture_output=True,
            encoding="utf-8",
            check=False,
            timeout=120,
        )

    return call


@pytest.fixture
def database(environment: dict[str, str], request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The URL of the clinic's database: a file in its folder; where a test or module names
    ``database_kind``, one on a server too."""
    on_each = "database_kind" in request.fixturenames
    if not on_each or request.getfixturevalue("database_kind") == "sqlite":
        return sqlite_url(tmp_path / "data" / "followup.sqlite3")
    environment["FOLLOWUP_DATABASE_URL"] = request.getfixturevalue("blank_postgres")()
    return environment["FOLLOWUP_DATABASE_URL"]


@pytest.fixture
def answers() -> dict[str, str]:
    """What ``followup init`` asks for."""
    return {
        "name": "Riverbend Eye Clinic",
        "code": "RBE",
        "phone-day": "+44 20 7946 0100",
        "phone-night": "+44 20 7946 0199",
        "zone": "Asia/Kolkata",
        "login": "ruth",
        "staff-name": "Ruth Amberley",
    }


@pytest.fixture
def set_up(answers: dict[str, str]) -> Callable[..., tuple[str, ...]]:
    """The arguments that set a clinic up, with what is given changed or added."""

    def arguments(*more: str, **changes: str) -> tuple[str, ...]:
        given = answers | {name.replace("_", "-"): value for name, value in changes.items()}
        return ("init", *(part for name, value in given.items() for part in (f"--{name}", value)), *more)

    return arguments


@pytest.fixture
def next_noon() -> datetime:
    """When it is noon in the clinic: between midnight and half past one its nightly work waits."""
    now = datetime.now(UTC)
    at = now.replace(hour=6, minute=30, second=0)
    return at if at > now else at + timedelta(days=1)


@pytest.fixture
def noon(next_noon: datetime) -> Iterator[None]:
    """It is the next noon of the clinic."""
    with time_machine.travel(next_noon):
        yield


@pytest.fixture(scope="session")
def set_up_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the first clinic that was set up in a file lies, for the tests after it to copy."""
    return tmp_path_factory.mktemp("set-up") / "data"


@pytest.fixture
def clinic(
    database: str, inside: Run, set_up: Callable[..., tuple[str, ...]], tmp_path: Path, set_up_once: Path
) -> Path:
    """A clinic that has just been set up; the folder of its data.

    Its first member of staff is a surgeon who also manages.
    """
    folder, in_a_file = tmp_path / "data", database.startswith("sqlite")
    if in_a_file and set_up_once.exists():
        return shutil.copytree(set_up_once, folder)
    roles = ("--role", "manager", "--role", "surgeon", "--registration", "R-1001")
    done = inside(*set_up("--language", "bn", "--language", "en", *roles), FOLLOWUP_PASSWORD=PASSWORD)
    assert (done.returncode, done.stderr) == (0, "")
    if in_a_file:
        shutil.copytree(folder, set_up_once)
    return folder


@pytest.fixture
def store(clinic: Path, database: str, open_store: Callable[[str], Store]) -> Store:
    """The store of the clinic that has just been set up."""
    return open_store(database)


@pytest.fixture
def record_file(tmp_path: Path) -> Callable[..., Path]:
    """Writes a told case with changes, by dotted field name; None takes a field away."""

    def write(name: str = "01-wanjiru", /, **changes: Any) -> Path:
        data = case_data(name)
        for field, value in changes.items():
            place: Any = data
            *way, last = field.split("__")
            for part in way:
                place = place[int(part)] if isinstance(place, list) else place.setdefault(part, {})
            if value is None:
                place.pop(last)
            else:
                place[last] = value
        path = tmp_path / f"{name}.json"
        path.write_text(json.dumps(data), "utf-8")
        return path

    return write


@pytest.fixture
def refused(
    tmp_path: Path,
    environment: dict[str, str],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> Callable[..., str]:
    """Runs a command, in this process, that must end with exit code 2; gives its one line on stderr."""

    def call(*arguments: str, stdin: str = "") -> str:
        for name in [name for name in os.environ if name.startswith("FOLLOWUP_")]:
            monkeypatch.delenv(name)
        for name in [name for name in environment if name.startswith("FOLLOWUP_")]:
            monkeypatch.setenv(name, environment[name])
        monkeypatch.chdir(tmp_path)
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin.encode())))
        code = run(cli, arguments)
        out, err = capsys.readouterr()
        assert (code, out) == (2, ""), (code, out, err)
        assert err.startswith("followup: "), err
        assert err.count("\n") == 1, err
        return err

    return call


@pytest.fixture
def inside(
    tmp_path: Path,
    environment: dict[str, str],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> Run:
    """As ``followup``, but in this process and so much faster: for what a command says and does."""

    def call(*arguments: str, stdin: str = "", **env: str) -> subprocess.CompletedProcess[str]:
        with monkeypatch.context() as patch:
            for name in [name for name in os.environ if name.startswith("FOLLOWUP_")]:
                patch.delenv(name)
            for name, value in (environment | env).items():
                patch.setenv(name, value)
            patch.chdir(tmp_path)
            patch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin.encode())))
            code = run(cli, arguments)
        out, err = capsys.readouterr()
        return subprocess.CompletedProcess(arguments, code, out, err)

    return call


@pytest.fixture
def program() -> Path:
    return PROGRAM


@pytest.fixture
def entries(store):
    """How many entries the journal has."""

    def count() -> int:
        with store.read() as session:
            return verify_journal(session).entries

    return count
