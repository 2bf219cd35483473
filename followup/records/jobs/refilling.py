"""A whole clinic as rows, and one made anew of them: first in a draft, checked, then carried over."""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import Engine, text
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session

from followup.errors import FollowupError
from followup.records.duties import PROGRAM
from followup.records.house.clinics import is_set_up
from followup.records.jobs.backup import verify_file
from followup.records.plans.bound import verify_all
from followup.records.store.copying import Carried, carry, reading
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.journal import Detail, Seal, newest_seal
from followup.records.store.migrations import known_steps, upgrade
from followup.records.store.open_rows import Line, OpenTable, open_tables, rows_in, rows_out
from followup.records.store.store import Store, Unit
from followup.records.views import Actor


@dataclass(frozen=True)
class WholeClinic:
    """Every row that is handed on, a table at a time; the schema's ``step`` and the journal's ``seal``."""

    step: str
    seal: Seal
    contents: Iterator[tuple[OpenTable, Iterator[dict[str, object]]]]


@contextmanager
def whole_clinic(engine: Engine) -> Iterator[WholeClinic]:
    """The clinic as it is at one instant, found whole. Errors: ``journal.broken``, ``journal.unlike``."""
    with reading(engine) as connection:
        seal = verify_all(Session(connection)).journal
        contents = ((table, rows_out(connection, table.name)) for table in open_tables())
        yield WholeClinic(known_steps()[1], seal, contents)


@dataclass(frozen=True)
class Refilling:
    """What a clinic is made of: the ``contents`` of its tables at a ``step`` of the schema, and its ``seal``.

    ``name`` and ``sha256`` of the archive stand in the journal from then on; ``by`` whom, and when.
    """

    name: str
    sha256: str
    step: str
    seal: Seal
    contents: Iterable[tuple[str, Iterable[Line]]]
    by: Actor
    now: datetime


def refill(what: Refilling, target: Engine, folder: Path) -> Carried:
    """Put the rows into an empty database, all or nothing, as the newest step of the schema has them.

    Nobody is logged in and nobody has a password afterwards. The draft lies in ``folder`` meanwhile. Errors:
    ``archive.newer``, ``table``, ``row``, ``broken`` (plans, sheets or journal are not those that were
    signed), those of ``carry``.
    """
    if what.step not in known_steps()[0]:
        raise FollowupError(
            "archive.newer",
            "it was made by a newer version of the program",
            where=what.name,
            fix="install that version first",
        )
    draft = folder / f"archive.{secrets.token_hex(4)}.part"
    engine = make_engine(sqlite_url(draft), pooled=False)
    try:
        _fill(engine, what)
        engine.dispose()
        _check(draft, what)
        try:
            return carry(engine, target)
        except (SQLAlchemyError, ValueError) as exc:
            raise broken(what.name, "the database does not take what stands in it") from exc
    finally:
        engine.dispose()
        for leftover in folder.glob(f"{draft.name}*"):
            leftover.unlink(missing_ok=True)


def note_handed_over(unit: Unit, action: str, **details: Detail) -> None:
    """Write down that the clinic's data went out or came in as a whole: the command line's work alone.

    Error ``role.missing``.
    """
    unit.need_role(PROGRAM)
    unit.log(action, "clinic", **details)


def broken(where: str, what: str) -> FollowupError:
    """The refusal of an archive that is not whole."""
    return FollowupError("archive.broken", what, where=where, fix="take another archive; nothing was stored")


def _fill(engine: Engine, what: Refilling) -> None:
    upgrade(engine, what.step)
    with engine.connect() as connection:
        # Of an older schema nobody knows which table points to which: all are looked at in the end.
        driver = connection.connection.driver_connection
        assert driver is not None
        driver.execute("PRAGMA foreign_keys=OFF")
        with connection.begin():
            rows_in(connection, what.contents)
            lost = connection.execute(text("PRAGMA foreign_key_check")).first()
            if lost is not None:
                raise broken(what.name, f"a row of {lost[0]} points to one of {lost[2]} that is not there")
    upgrade(engine)
    store = Store(engine)
    with store.read() as session:
        if not is_set_up(session):
            raise broken(what.name, "it holds no clinic")
        if newest_seal(session) != what.seal:
            raise broken(what.name, "its journal is not the one that its manifest names")
    with store.write(what.by, what.now) as unit:
        note_handed_over(unit, "brought in from an archive", archive=what.name, sha256=what.sha256)


def _check(draft: Path, what: Refilling) -> None:
    """The journal unbroken, every plan and sheet as it was signed and printed."""
    try:
        verify_file(draft, unproved=True)
    except FollowupError as error:
        raise broken(what.name, error.what) from None
