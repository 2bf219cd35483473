"""``followup move``: a clinic from one database to another."""

from __future__ import annotations

from pathlib import Path

import click
from sqlalchemy import make_url
from sqlalchemy.exc import ArgumentError

from followup.cli.contract import CommandOutcome
from followup.cli.opening import reachable, settings_from
from followup.clinical.english import counted
from followup.errors import FollowupError
from followup.records.store.copying import carry
from followup.records.store.engine import sqlite_url


@click.command()
@click.argument("source", metavar="FROM")
@click.argument("target", metavar="TO")
def move(source: str, target: str) -> CommandOutcome:
    """Carry a clinic into an empty database; FROM and TO are SQLite files or postgresql+psycopg:// URLs.

    Every row and the journal's chain are compared before anything is kept; FROM stays as it is. Stop
    every serve first, and give the new database to the next one as FOLLOWUP_DATABASE_URL. A URL here
    holds no password: give it in PGPASSWORD or in the file ~/.pgpass (or the one that PGPASSFILE names).
    """
    _refuse_passwords(FROM=source, TO=target)
    one, other = (settings_from(None, database_url=_url(text)) for text in (source, target))
    with reachable(one) as here, reachable(other) as there:
        carried = carry(here.engine, there.engine)
    rows = counted(sum(carried.rows.values()), "row", "rows")
    return CommandOutcome(
        f"{rows} carried and compared; the journal's {carried.journal.entries} entries are whole.\n"
    )


def _refuse_passwords(**given: str) -> None:
    """Whoever is on this computer can read the command lines of others, and the shell keeps its own."""
    for name, text in given.items():
        try:
            url = make_url(text) if "://" in text else None
        except (ArgumentError, ValueError):
            url = None
        if url is not None and (url.password or "password" in url.query):
            raise FollowupError(
                "move.password",
                "a password on the command line can be read by others",
                where=name,
                fix="leave it out and give it in PGPASSWORD or in the file ~/.pgpass",
            )


def _url(text: str) -> str:
    return text if "://" in text else sqlite_url(Path(text).expanduser().absolute())
