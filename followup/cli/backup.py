"""``followup backup`` and ``restore``."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click
from sqlalchemy.exc import SQLAlchemyError

from followup.cli.contract import Outcome
from followup.cli.opening import folder_option, opened, settings_from, sqlite_file
from followup.cli.words import counted
from followup.errors import FollowupError
from followup.recall.sweep import SWEEP
from followup.records.backup import restore as put_back
from followup.records.backup import take_backup
from followup.records.engine import sqlite_url
from followup.records.store import Store
from followup.records.upkeep import lease


@click.command()
@folder_option
@click.option("--to", metavar="DIR", help="Folder for the backup; else the clinic's own, backups.")
def backup(folder: str | None, to: str | None) -> Outcome:
    """Back up the clinic while it works: one verified file, encrypted where a passphrase is set."""
    settings = settings_from(folder)
    target = Path(to).expanduser().absolute() if to else settings.folder / "backups"
    with opened(settings) as store:
        taken = take_backup(store.engine, target, datetime.now(UTC), passphrase=settings.backup_passphrase)
    sealed = "encrypted" if taken.encrypted else "not encrypted"
    rows = counted(taken.rows, "row", "rows")
    return Outcome(f"{taken.path}: {rows}, {taken.journal.entries} journal entries, verified, {sealed}\n")


@click.command()
@click.argument("file", metavar="BACKUP")
@folder_option
def restore(file: str, folder: str | None) -> Outcome:
    """Put a backup in the database's place; what was there is kept beside it. Stop every serve first."""
    settings = settings_from(folder)
    target = sqlite_file(settings)
    if target is None:
        raise FollowupError(
            "restore.postgresql",
            "a backup is put back into a file",
            fix="restore into another --folder, then: followup move from there into an empty database",
        )
    _refuse_while_served(target, datetime.now(UTC))
    kept = put_back(Path(file).expanduser(), target, datetime.now(UTC), passphrase=settings.backup_passphrase)
    beside = f" What was there is kept as {kept}." if kept else ""
    return Outcome(f"{target} is restored.{beside} The key file has a backup of its own.\n")


def _refuse_while_served(target: Path, now: datetime) -> None:
    """A server would go on writing into the file that is put aside, and what it writes would be lost."""
    if not target.is_file():
        return
    store = Store.open(sqlite_url(target))
    try:
        with store.read() as session:
            held = lease(session, SWEEP)
    except SQLAlchemyError:
        # Damaged, or none of ours: that is what a backup is put back for.
        return
    finally:
        store.close()
    if held is not None and held[1] > now:
        raise FollowupError(
            "restore.served",
            "a followup serve is at work on this database",
            where=str(target),
            fix="stop it; one that was killed counts for three minutes more",
        )
