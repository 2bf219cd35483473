"""``followup move``: a clinic from one database to another."""

from __future__ import annotations

from pathlib import Path

import click

from followup.cli.contract import Outcome
from followup.cli.opening import reachable, settings_from
from followup.cli.words import counted
from followup.records.copying import carry
from followup.records.engine import sqlite_url


@click.command()
@click.argument("source", metavar="FROM")
@click.argument("target", metavar="TO")
def move(source: str, target: str) -> Outcome:
    """Carry a clinic into an empty database; FROM and TO are SQLite files or postgresql+psycopg:// URLs.

    Every row and the journal's chain are compared before anything is kept; FROM stays as it is. Stop
    every serve first, and give the new database to the next one as FOLLOWUP_DATABASE_URL.
    """
    one, other = (settings_from(None, database_url=_url(text)) for text in (source, target))
    with reachable(one) as here, reachable(other) as there:
        carried = carry(here.engine, there.engine)
    rows = counted(sum(carried.rows.values()), "row", "rows")
    return Outcome(
        f"{rows} carried and compared; the journal's {carried.journal.entries} entries are whole.\n"
    )


def _url(text: str) -> str:
    return text if "://" in text else sqlite_url(Path(text).expanduser().absolute())
