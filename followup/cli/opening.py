"""Opening a clinic's database for a command, and what the desks stand on."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import ParamSpec, TypeVar
from zoneinfo import ZoneInfo

import click
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DatabaseError

from followup.cli.logs import logging_in
from followup.errors import FollowupError
from followup.language.catalogue_files import bind_clinic
from followup.records.duties import PROGRAM
from followup.records.house.clinics import get_clinic, is_set_up
from followup.records.store.migrations import schema_state, upgrade
from followup.records.store.private import open_to_others, shut
from followup.records.store.store import Store
from followup.records.views import Actor
from followup.settings import Settings, load_settings

# Who did it, in the journal, where nobody has logged in.
COMMAND_LINE = Actor("command line", frozenset({PROGRAM}))
P = ParamSpec("P")
R = TypeVar("R")


def folder_option(command: Callable[P, R]) -> Callable[P, R]:
    """The option that every command on a clinic's data shares."""
    return click.option("--folder", metavar="DIR", help="Folder of the clinic's data.")(command)


def settings_from(folder: str | None, **given: object) -> Settings:
    return load_settings(os.environ, {"folder": folder, **given})


@contextmanager
def opened(settings: Settings) -> Iterator[Store]:
    """The clinic's store, its schema checked; from now on sheets speak the clinic's own words.

    Errors: ``clinic.missing``, ``store.*``.
    """
    path = sqlite_file(settings)
    if path is not None and not path.is_file():
        raise _not_set_up(settings)
    shut(open_to_others(settings.folder, *([path] if path else [])))
    bind_clinic(settings.folder)
    with logging_in(settings.folder), reachable(settings) as store:
        state = schema_state(store.engine)
        if state == "empty":
            raise _not_set_up(settings)
        if state != "current":
            upgrade(store.engine)
        with store.read() as session:
            get_clinic(session)
        yield store


@contextmanager
def reachable(settings: Settings) -> Iterator[Store]:
    """The store as it is, or one line when the database can't be reached or is none of ours."""
    store = Store.open(settings.database_url)
    try:
        try:
            schema_state(store.engine)
        except DatabaseError as exc:
            raise FollowupError(
                "fault.database",
                "the database can't be opened",
                where=shown(settings.database_url),
                fix="check that it runs, that you may use it and that it is ours",
            ) from exc
        yield store
    finally:
        store.close()


def refuse_set_up(settings: Settings, fix: str) -> None:
    """Error ``init.exists`` where a clinic is set up already; ``fix`` says what to do instead."""
    path = sqlite_file(settings)
    if path is not None and not path.exists():
        return
    with reachable(settings) as store:
        state = schema_state(store.engine)
        if state == "current":
            with store.read() as session:
                state = "current" if is_set_up(session) else "empty"
    if state != "empty":
        raise is_there(settings, fix)


def is_there(settings: Settings, fix: str) -> FollowupError:
    return FollowupError(
        "init.exists", "a clinic is set up here already", where=str(settings.folder), fix=fix
    )


@contextmanager
def new_store(settings: Settings) -> Iterator[Store]:
    """The folder and the database of a new clinic; if setting it up fails, its file is taken away again."""
    path = sqlite_file(settings)
    for place in (settings.folder, path.parent if path else settings.folder, settings.key_file.parent):
        place.mkdir(parents=True, exist_ok=True, mode=0o700)
    shut(open_to_others(settings.folder))
    fresh = path is not None and _is_made_now(path)
    try:
        with reachable(settings) as store:
            yield store
    except BaseException:
        if fresh and path is not None:
            for name in (path.name, f"{path.name}-wal", f"{path.name}-shm"):
                path.with_name(name).unlink(missing_ok=True)
        raise


def _is_made_now(path: Path) -> bool:
    """Whether the file is new by this call; of two that begin at once only one makes it."""
    try:
        path.touch(mode=0o600, exist_ok=False)
    except FileExistsError:
        return False
    return True


def sqlite_file(settings: Settings) -> Path | None:
    """The file of a SQLite database; None for a server."""
    url = make_url(settings.database_url)
    return Path(url.database) if url.get_backend_name() == "sqlite" and url.database else None


def clinic_today(store: Store, now: datetime | None = None) -> date:
    """The day it is at the clinic."""
    with store.read() as session:
        zone = ZoneInfo(get_clinic(session).zone)
    return (now or datetime.now(UTC)).astimezone(zone).date()


def _not_set_up(settings: Settings) -> FollowupError:
    return FollowupError(
        "clinic.missing",
        "no clinic is set up here",
        where=shown(settings.database_url),
        fix="run followup init, or name the right --folder",
    )


def shown(address: str) -> str:
    """A database's URL as it may be read by anybody, without its password."""
    url = make_url(address).difference_update_query(["password"])
    # An "@" in the password that was not written as %40 splits it: its end seems part of the host.
    url = url.set(host=(url.host or "").rpartition("@")[2] or None)
    return url.render_as_string(hide_password=True)
