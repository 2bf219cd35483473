"""Backups: taken while the clinic works, verified by opening them, kept by rule.

A backup is one SQLite file, whatever the clinic's database is, with a small note beside it: when,
how many rows, the journal's seal, the hash of the file. With a passphrase the file is encrypted in
the age format, which other tools can open too.
"""

from __future__ import annotations

import hashlib
import json
import secrets
import sqlite3
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from sqlalchemy import Engine, text
from sqlalchemy.exc import DatabaseError
from sqlmodel import Session

from followup.errors import FollowupError
from followup.records.jobs.leftovers import clear_leftovers
from followup.records.jobs.proof import proof_holds, put_proof
from followup.records.plans.bound import verify_all
from followup.records.store.copying import carry, fingerprints
from followup.records.store.durable import flush_file, write_whole
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.journal import Seal, verify_journal
from followup.records.store.migrations import schema_state

DAYS, WEEKS, MONTHS = 7, 5, 12
_PREFIX = "followup-"


@dataclass(frozen=True)
class Backup:
    """One backup: ``path`` of the file, what its note says."""

    path: Path
    at: datetime
    rows: int
    journal: Seal
    encrypted: bool


def take_backup(
    engine: Engine, folder: Path, now: datetime, *, passphrase: str = "", clear: Iterable[Path] = ()
) -> Backup:
    """Write a verified backup into ``folder``; an unfinished one never bears a backup's name.

    What killed runs left in ``folder``, and in the folders to ``clear``, is deleted first.
    Errors: ``backup.folder`` (can't be written, disk full), ``backup.broken`` (it did not verify).
    """
    stem = f"{_PREFIX}{now.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    draft = folder / f"{stem}.{secrets.token_hex(4)}.part"
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        # Its owner's alone from the first byte on, not only when it is whole.
        draft.touch(mode=0o600, exist_ok=False)
        # What was just made tells the time by the clock of the files themselves.
        for each in (folder, *clear):
            clear_leftovers(each, draft.stat().st_mtime)
        _write(engine, draft)
        put_proof(draft)
        rows, seal = verify_file(draft)
        final = folder / f"{stem}.sqlite3"
        if passphrase:
            # Loaded here: without a passphrase nothing of it is needed.
            import pyrage

            final = final.with_suffix(".sqlite3.age")
            sealed = pyrage.passphrase.encrypt(draft.read_bytes(), passphrase)
            write_whole(draft, sealed)
        note = {
            "at": now.astimezone(UTC).isoformat(),
            "rows": rows,
            "journal": asdict(seal),
            "sha256": file_hash(draft),
        }
        flush_file(draft)
        draft.replace(final)
        write_whole(note_of(final), json.dumps(note, indent=1).encode())
    except OSError as exc:
        raise FollowupError(
            "backup.folder",
            f"no backup was written: {exc.strerror or type(exc).__name__}",
            where=str(folder),
            fix="free some space, or name another folder",
        ) from None
    except (DatabaseError, sqlite3.Error) as exc:
        raise FollowupError(
            "backup.folder",
            "no backup was written: the copy failed, perhaps the disk is full",
            where=str(folder),
            fix="free some space, or name another folder",
        ) from exc
    finally:
        for leftover in folder.glob(f"{draft.name}*"):
            leftover.unlink(missing_ok=True)
    return Backup(final, now, rows, seal, bool(passphrase))


def verify_file(path: Path, *, named: Path | None = None, unproved: bool = False) -> tuple[int, Seal]:
    """Open a backup: rows in all and the journal's seal.

    ``named``: the file that a refusal names, where ``path`` is a copy of it. ``unproved``: one without a
    proof inside is taken too; one whose proof does not hold never is. Errors: ``backup.broken``,
    ``backup.newer``, ``backup.proof``.
    """
    told = named or path
    engine = make_engine(sqlite_url(path), pooled=False)
    try:
        state = schema_state(engine)
        if state == "newer":
            raise FollowupError(
                "backup.newer",
                "it was made by a newer version of the program",
                where=str(told),
                fix="install that version first",
            )
        if state == "empty":
            raise broken(told, "it holds no clinic")
        proved = proof_holds(path)
        if proved is False:
            raise broken(told, "its rows are not those that were saved")
        if proved is None and not unproved:
            raise FollowupError(
                "backup.proof",
                "it holds no proof that its rows are those that were saved",
                where=str(told),
                fix="take another; a database put aside, or a backup made before they held one, goes back "
                "with --without-proof",
            )
        with engine.execution_options(reading=True).connect() as connection:
            problem = connection.execute(text("PRAGMA integrity_check")).scalar()
            if problem != "ok" or connection.execute(text("PRAGMA foreign_key_check")).first():
                raise broken(told, "the file is damaged")
            whole = Session(connection)
            seal = verify_all(whole).journal if state == "current" else verify_journal(whole)
            rows = sum(count for count, _ in fingerprints(connection).values()) if state == "current" else 0
        return rows, seal
    except (DatabaseError, sqlite3.Error, UnicodeDecodeError):
        raise broken(told, "the file is damaged or no backup") from None
    except FollowupError as error:
        if error.code in ("journal.broken", "journal.unlike"):
            raise broken(told, error.what) from None
        raise
    finally:
        engine.dispose()
        for side in ("-wal", "-shm"):
            path.with_name(path.name + side).unlink(missing_ok=True)


def backups(folder: Path) -> tuple[Backup, ...]:
    """The backups in ``folder``, newest first; what has no note, or not the hash in it, is not one."""
    return tuple(one for one, is_whole in _found(folder) if is_whole)


def damaged_backups(folder: Path) -> tuple[Path, ...]:
    """The files in ``folder`` that are not any more what their note says."""
    return tuple(one.path for one, is_whole in _found(folder) if not is_whole)


def _found(folder: Path) -> list[tuple[Backup, bool]]:
    found = []
    for path in folder.glob(f"{_PREFIX}*.sqlite3*") if folder.is_dir() else ():
        if path.suffix in (".sqlite3", ".age"):
            note = read_note(path)
            if note is not None:
                found.append((note, file_hash(path) == note_hash(path)))
    return sorted(found, key=lambda one: one[0].at, reverse=True)


def to_keep(days: Iterable[date], today: date) -> frozenset[date]:
    """Of the days with a backup, those whose backup stays.

    Counted by the backups themselves, never by the clock: the newest seven days that have one, the
    last of the newest five weeks that have one (Monday to Sunday) and of the newest twelve months. So
    a clock that jumps takes no more than a day does. What lies ahead of ``today`` stays and counts for
    nothing: that clock was wrong, or this one is.
    """
    chosen = set(days)
    kept = {day for day in chosen if day > today}
    past = sorted(chosen - kept, reverse=True)
    weeks: dict[date, date] = {}
    months: dict[tuple[int, int], date] = {}
    for day in past:
        weeks.setdefault(day - timedelta(days=day.weekday()), day)
        months.setdefault((day.year, day.month), day)
    kept.update(past[:DAYS], list(weeks.values())[:WEEKS], list(months.values())[:MONTHS])
    return frozenset(kept)


def prune(folder: Path, today: date) -> int:
    """Delete the backups that the rule does not keep, and all but the newest of a day. How many.

    A damaged one keeps no other from staying, and is never deleted: somebody may still need what is in it.
    """
    found = backups(folder)
    keep = to_keep((one.at.astimezone(UTC).date() for one in found), today)
    seen: set[date] = set()
    gone = 0
    for one in found:
        day = one.at.astimezone(UTC).date()
        if day not in keep or (day in seen and day < today):
            one.path.unlink(missing_ok=True)
            note_of(one.path).unlink(missing_ok=True)
            gone += 1
        seen.add(day)
    return gone


def _write(engine: Engine, draft: Path) -> None:
    if engine.dialect.name == "sqlite":
        with engine.connect() as connection:
            # Outside a transaction: VACUUM reads one state while others go on writing.
            driver = connection.connection.driver_connection
            assert driver is not None
            driver.execute("VACUUM INTO ?", (str(draft),))
        return
    copy = make_engine(sqlite_url(draft), pooled=False)
    try:
        carry(engine, copy)
        with copy.connect() as connection:
            driver = connection.connection.driver_connection
            assert driver is not None
            driver.execute("PRAGMA journal_mode=DELETE")
    finally:
        copy.dispose()


def read_note(path: Path) -> Backup | None:
    """What the note beside a backup says; None where there is no readable one."""
    try:
        note = json.loads(note_of(path).read_text("utf-8"))
        seal = Seal(int(note["journal"]["entries"]), str(note["journal"]["hash"]))
        return Backup(
            path, datetime.fromisoformat(note["at"]), int(note["rows"]), seal, path.suffix == ".age"
        )
    except (OSError, ValueError, TypeError, KeyError, OverflowError, RecursionError):
        return None


def note_hash(path: Path) -> str | None:
    """The hash of the file as the note beside it gives it; None without a readable note."""
    try:
        return str(json.loads(note_of(path).read_text("utf-8"))["sha256"])
    except (OSError, ValueError, TypeError, KeyError, OverflowError, RecursionError):
        return None


def file_hash(path: Path) -> str:
    """SHA-256 of the whole file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def note_of(path: Path) -> Path:
    """Where the note of a backup lies."""
    return path.with_name(f"{path.name}.note.json")


def broken(path: Path, what: str) -> FollowupError:
    """The refusal of a file that is not a whole backup."""
    return FollowupError(
        "backup.broken", what, where=str(path), fix="take another backup; nothing was changed"
    )
