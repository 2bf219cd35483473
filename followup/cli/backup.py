"""``followup backup`` and ``restore``."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click
from sqlalchemy.exc import SQLAlchemyError

from followup.cli.contract import CommandOutcome
from followup.cli.opening import folder_option, opened, reachable, settings_from, shown, sqlite_file
from followup.clinical.english import counted
from followup.errors import FollowupError
from followup.recall.jobs.daily import seal_file
from followup.recall.jobs.scheduler import LEASE
from followup.recall.jobs.sweep import SWEEP
from followup.records.jobs.backup import take_backup
from followup.records.jobs.restoring import put_aside, restore_into
from followup.records.jobs.restoring import restore as put_back
from followup.records.jobs.upkeep import lease
from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store
from followup.records.views import SYSTEM
from followup.settings import Settings


@click.command()
@folder_option
@click.option("--to", metavar="DIR", help="Folder for the backup; else the clinic's own, backups.")
def backup(folder: str | None, to: str | None) -> CommandOutcome:
    """Back up the clinic while it works: one verified file, encrypted where a passphrase is set."""
    settings = settings_from(folder)
    target = Path(to).expanduser().absolute() if to else settings.folder / "backups"
    with opened(settings) as store:
        taken = take_backup(store.engine, target, datetime.now(UTC), passphrase=settings.backup_passphrase)
    sealed = "encrypted" if taken.encrypted else "not encrypted"
    rows = counted(taken.rows, "row", "rows")
    return CommandOutcome(
        f"{taken.path}: {rows}, {taken.journal.entries} journal entries, verified, {sealed}\n"
    )


@click.command()
@click.argument("file", metavar="BACKUP")
@folder_option
def restore(file: str, folder: str | None) -> CommandOutcome:
    """Put a backup in the database's place; what was there is kept beside it. Stop every serve first.

    On a PostgreSQL server the database must be an empty one: nothing is ever replaced there.
    """
    settings, backup, now = settings_from(folder), Path(file).expanduser(), datetime.now(UTC)
    target = sqlite_file(settings)
    if target is None:
        place, kept = shown(settings.database_url), None
        with reachable(settings) as store:
            restore_into(backup, store.engine, passphrase=settings.backup_passphrase)
    else:
        place = str(target)
        _refuse_while_served(target, now)
        kept = put_back(backup, target, now, passphrase=settings.backup_passphrase)
    _begin_anew(settings, backup, now)
    beside = f" What was there is kept as {kept}." if kept else ""
    return CommandOutcome(f"{place} is restored.{beside} The key file has a backup of its own.\n")


def _begin_anew(settings: Settings, backup: Path, now: datetime) -> None:
    """Write it into the journal, and put the seal aside that knew entries which are not there any more."""
    with opened(settings) as store, store.write(SYSTEM, now) as unit:
        unit.log("restored from a backup", "clinic", backup=backup.name)
    put_aside(seal_file(settings.folder), now)


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
    # A lease that a clock set ahead keeps nobody from restoring: no living server holds one for so long.
    if held is not None and now < held[1] <= now + 2 * LEASE:
        raise FollowupError(
            "restore.served",
            "a followup serve is at work on this database",
            where=str(target),
            fix="stop it; one that was killed counts for three minutes more",
        )
