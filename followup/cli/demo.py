"""``followup demo``: the invented sample clinic, served or written as files."""

from __future__ import annotations

import signal
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from followup.cli.contract import CommandOutcome
from followup.cli.files import DayOption
from followup.cli.logs import logging_in
from followup.cli.opening import settings_from
from followup.cli.serving import announce, listen, serve_pages
from followup.clinical.english import counted, listed
from followup.demo.build import PASSWORD, SEED, build
from followup.demo.clinic import NAME, STAFF, TIME_ZONE
from followup.demo.files import claim_folder, finish, unfinished, write_files
from followup.demo.waiting import waiting
from followup.desks.door.hand import Desk
from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store
from followup.settings import Settings


@click.command()
@click.option("--folder", metavar="DIR", help="An empty or new folder to keep it in; else a throw-away one.")
@click.option("--no-serve", is_flag=True, help="Write sheets, lists and database, then end.")
@click.option("--on", type=DayOption(), help="The day it is taken to be; without it today.")
@click.option("--seed", type=int, default=SEED, show_default=True, help="Another number, other people.")
@click.option("--port", help="Port of the pages; else 8470, or a free one.")
def demo(folder: str | None, no_serve: bool, on: date | None, seed: int, port: str | None) -> CommandOutcome:
    """Show a filled sample clinic: everybody and everything in it is invented.

    Its protocol is signed by an invented surgeon, so that sheets print; "sample clinic" stands on
    each. Nothing in it may be used for a patient.
    """
    clock = _clock(on)
    # Whoever ends it while it is told leaves no throw-away folder behind either.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    with _place(folder) as place, logging_in(place):
        if claim_folder(place):
            _tell("The sample clinic here was not told to its end; it is told anew")
        settings = _settings(place, port)
        now = clock()
        if no_serve:
            desk = _told(settings, place, clock, now, seed, _tell)
            with closing(desk.store):
                written = write_files(desk, place, now, _tell)
            return CommandOutcome(
                f"{counted(written.sheets, 'sheet', 'sheets')}, "
                f"{counted(written.due, 'visit', 'visits')} due, "
                f"{written.to_reach} to reach: in {place}\n"
            )
        listener = listen(settings, or_any=port is None)
        notes = (
            f"Log in as one of: {listed(member.login for member in STAFF)}; password: {PASSWORD}",
            f"All of it is invented and lies in {place}. Stop with Ctrl-C.",
        )
        announce(listener, notes)
        with waiting(listener, NAME, notes) as show:

            def tell(line: str) -> None:
                _tell(line)
                show(line)

            desk = _told(settings, place, clock, now, seed, tell)
        with closing(desk.store):
            serve_pages(desk, listener)
    return CommandOutcome()


def _told(
    settings: Settings,
    place: Path,
    clock: Callable[[], datetime],
    now: datetime,
    seed: int,
    tell: Callable[[str], None],
) -> Desk:
    """The clinic, told to its end under another name, so that nobody ever takes half of it for one."""
    with closing(Store.open(sqlite_url(unfinished(place)))) as store:
        desk = build(settings, store, now=now, clock=clock, seed=seed, tell=tell)
    finish(place)
    return replace(desk, store=Store.open(settings.database_url))


def _tell(line: str) -> None:
    """What goes on, for whoever waits; the outcome alone goes to standard output."""
    click.echo(line, err=True)


def _clock(on: date | None) -> Callable[[], datetime]:
    """The real clock, or one that began at nine in the morning of the day asked for."""
    if on is None:
        return lambda: datetime.now(UTC)
    ahead = datetime.combine(on, time(9), ZoneInfo(TIME_ZONE)).astimezone(UTC) - datetime.now(UTC)
    return lambda: datetime.now(UTC) + ahead


def _settings(place: Path, port: str | None) -> Settings:
    """Everything inside the folder, whatever the environment says of a real clinic's."""
    return settings_from(
        str(place),
        port=port,
        host="127.0.0.1",
        database_url=sqlite_url(place / "followup.sqlite3"),
        key_file=place / "recall-keys.json",
    )


@contextmanager
def _place(folder: str | None) -> Iterator[Path]:
    if folder is not None:
        yield Path(folder).expanduser().absolute()
        return
    with tempfile.TemporaryDirectory(prefix="followup-demo-") as name:
        yield Path(name)
