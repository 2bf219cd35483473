"""``followup backup`` and ``restore``."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click
from sqlalchemy.exc import SQLAlchemyError

from followup.cli.contract import CommandOutcome, visible
from followup.cli.opening import (
    COMMAND_LINE,
    folder_option,
    opened,
    reachable,
    settings_from,
    shown,
    sqlite_file,
)
from followup.clinical.english import counted
from followup.errors import FollowupError
from followup.recall.jobs.daily import kept_seal, seal_file
from followup.recall.jobs.scheduler import LEASE
from followup.recall.jobs.sweep import SWEEP
from followup.records.jobs.backup import take_backup
from followup.records.jobs.restoring import Restored, Restoring, put_aside, restore_into
from followup.records.jobs.restoring import restore as put_back
from followup.records.jobs.upkeep import lease
from followup.records.store.engine import sqlite_url
from followup.records.store.journal import Seal
from followup.records.store.store import Store


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
@click.option("--without-proof", is_flag=True, help="Take one that holds no proof of its own inside.")
def restore(file: str, folder: str | None, without_proof: bool) -> CommandOutcome:
    """Put a backup in the database's place; what was there is kept beside it. Stop every serve first.

    Everybody is logged out. On a PostgreSQL server the database must be an empty one: nothing is ever
    replaced there. A database that was put aside, or a backup made before they held a proof that they are
    whole, is taken --without-proof.
    """
    settings, backup, now = settings_from(folder), Path(file).expanduser(), datetime.now(UTC)
    target = sqlite_file(settings)
    how = Restoring(COMMAND_LINE, now, settings.backup_passphrase, without_proof)
    outside = kept_seal(seal_file(settings.folder))
    if target is None:
        place = shown(settings.database_url)
        with reachable(settings) as store:
            restored = restore_into(backup, store.engine, how)
    else:
        place = str(target)
        _refuse_while_served(target, now)
        restored = put_back(backup, target, how)
    # It knew entries that are not there any more.
    put_aside(seal_file(settings.folder), now)
    beside = f" What was there is kept as {restored.kept}." if restored.kept else ""
    head = f"{place} is restored.{beside} The key file has a backup of its own.\n"
    return CommandOutcome(visible(f"{head}{_what_is_older(restored, outside)}"))


def _what_is_older(restored: Restored, outside: Seal | None) -> str:
    """Whom to look at before anybody logs in: a backup knows nothing of what was changed after it."""
    ended = counted(restored.sessions_ended, "log-in was ended", "log-ins were ended")
    lines = [f"Everybody logs in anew: {ended}."]
    known = [seal.entries for seal in (restored.replaced, outside) if seal is not None]
    missing = max(known, default=0) - restored.journal.entries
    if missing > 0:
        are = "is" if missing == 1 else "are"
        lines.append(f"{counted(missing, 'later journal entry', 'later journal entries')} {are} not in it.")
    if restored.people is None:
        lines.append(
            "Nothing here tells who was changed after the backup: everybody may have an older password or "
            "older roles, or be switched on again. Look at all of them before anybody logs in."
        )
    elif restored.people:
        lines.append("Look at these people before anybody logs in; they are as they were at the backup:")
        lines += [f"  {one.login} ({one.name}): {'; '.join(one.what)}" for one in restored.people]
    return "".join(f"{line}\n" for line in lines)


def _refuse_while_served(target: Path, now: datetime) -> None:
    """A server would go on writing into the file that is put aside, and what it writes would be lost."""
    if not target.is_file():
        return
    store = Store.open(sqlite_url(target))
    try:
        with store.read() as session:
            held = lease(session, SWEEP)
    except (SQLAlchemyError, FollowupError):
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
