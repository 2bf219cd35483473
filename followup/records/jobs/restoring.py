"""Putting a backup back: in the place of a file, or into an empty database on a server."""

from __future__ import annotations

import secrets
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Engine

from followup.errors import FollowupError
from followup.records.house.staff import end_all_sessions
from followup.records.jobs.backup import broken, file_hash, note_hash, note_of, read_note, verify_file
from followup.records.jobs.older_staff import OlderPerson, ReplacedStaff, carry_switched_off, replaced_staff
from followup.records.jobs.proof import copy_without_proof
from followup.records.store.copying import carry
from followup.records.store.durable import flush_folder, write_whole
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.journal import Seal
from followup.records.store.migrations import upgrade
from followup.records.store.store import Store
from followup.records.views import Actor

_TRIES = 10


@dataclass(frozen=True)
class Restored:
    """What came of it: ``kept``, where the file that was replaced lies; the journal as the backup holds it.

    ``replaced``: the journal of the database that was put aside, and ``people`` who was changed after the
    backup; both None where there was none that could be read.
    """

    kept: Path | None
    journal: Seal
    sessions_ended: int
    replaced: Seal | None
    people: tuple[OlderPerson, ...] | None


@dataclass(frozen=True)
class Restoring:
    """How a backup is put back: by whom, when, with which passphrase.

    ``unproved``: one that carries no proof inside is taken too, made before backups did.
    """

    by: Actor
    now: datetime
    passphrase: str = ""
    unproved: bool = False


def restore(backup: Path, target: Path, how: Restoring) -> Restored:
    """Put a backup in the place of the SQLite file ``target``; the file that was there is kept beside.

    Nobody is logged in afterwards, and who was switched off in the meantime stays so. Nothing is touched
    unless the backup opens and is whole. Errors: ``backup.missing``, ``broken``, ``proof``, ``newer``,
    ``passphrase``.
    """
    target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    with _draft(backup, target.parent, target.name, how, replaced_staff(target)) as (draft, restored):
        kept = put_aside(target, how.now)
        draft.replace(target)
        flush_folder(target.parent)
        return replace(restored, kept=kept)


def restore_into(backup: Path, target: Engine, how: Restoring) -> Restored:
    """Carry a backup into a database on a server, which must be empty: nothing there is ever replaced.

    All or nothing, and compared row by row. Errors: as :func:`restore`, and those of ``carry``.
    """
    with (
        tempfile.TemporaryDirectory(prefix="followup-") as folder,
        _draft(backup, Path(folder), "restored", how, None) as (draft, restored),
    ):
        source = make_engine(sqlite_url(draft), pooled=False)
        try:
            carry(source, target)
        finally:
            source.dispose()
        return restored


@contextmanager
def _draft(
    backup: Path, folder: Path, name: str, how: Restoring, replaced: ReplacedStaff | None
) -> Iterator[tuple[Path, Restored]]:
    """A copy of the backup, opened, checked, of the newest schema, nobody logged in; gone at the end."""
    if not backup.is_file():
        raise FollowupError("backup.missing", "no such file", where=str(backup), fix="name a backup")
    draft = folder / f"{name}.{secrets.token_hex(4)}.part"
    saved = draft.with_name(f"{draft.name}-saved")
    try:
        write_whole(saved, _opened(backup, how.passphrase))
        _, seal = verify_file(saved, named=backup, unproved=how.unproved)
        _compare_hash(backup)
        _compare_note(backup, seal)
        if not _copied(saved, draft):
            raise broken(backup, "the file is damaged")
        engine = make_engine(sqlite_url(draft), pooled=False)
        try:
            upgrade(engine)
            ended, people = _begin_anew(Store(engine), backup, how, replaced)
        finally:
            engine.dispose()
        verify_file(draft, named=backup, unproved=True)
        yield draft, Restored(None, seal, ended, replaced.journal if replaced else None, people)
    finally:
        for leftover in folder.glob(f"{draft.name}*"):
            leftover.unlink(missing_ok=True)


def _copied(saved: Path, draft: Path) -> bool:
    try:
        return copy_without_proof(saved, draft)
    except sqlite3.Error:
        return False


def _begin_anew(
    store: Store, backup: Path, how: Restoring, replaced: ReplacedStaff | None
) -> tuple[int, tuple[OlderPerson, ...] | None]:
    """End every log-in, some of which had been ended since, and say in the journal where this comes from."""
    with store.write(how.by, how.now) as unit:
        ended = end_all_sessions(unit)
        unit.log("restored from a backup", "clinic", backup=backup.name, sessions_ended=ended)
        return ended, None if replaced is None else carry_switched_off(unit, replaced.people)


def _opened(backup: Path, passphrase: str) -> bytes:
    content = backup.read_bytes()
    if not content.startswith(b"age-encryption.org/"):
        return content
    if not passphrase:
        raise FollowupError(
            "backup.passphrase",
            "the backup is encrypted",
            where=str(backup),
            fix="give its passphrase in FOLLOWUP_BACKUP_PASSPHRASE or its _FILE",
        )
    return unsealed(content, passphrase, str(backup))


def unsealed(content: bytes, passphrase: str, where: str) -> bytes:
    """What was encrypted with the passphrase. Errors: ``backup.passphrase``, ``backup.slow``."""
    # Loaded here: without a passphrase nothing of it is needed.
    import pyrage

    for _ in range(_TRIES):
        try:
            return bytes(pyrage.passphrase.decrypt(content, passphrase))
        except pyrage.DecryptError as exc:
            # The format measures how fast this computer is at this moment, and refuses what seems too
            # much work for it: a busy moment must not look like a wrong passphrase.
            if "work" not in str(exc).lower():
                raise FollowupError(
                    "backup.passphrase",
                    "wrong passphrase, or the file is damaged",
                    where=where,
                    fix="try again",
                ) from None
    raise FollowupError(
        "backup.slow",
        "this computer is too busy or too slow to open what is encrypted",
        where=where,
        fix="close other programs and try again, or use a faster computer",
    )


def _compare_hash(backup: Path) -> None:
    """A single bit that turned would else come back as another count of drops."""
    if note_of(backup).exists() and note_hash(backup) != file_hash(backup):
        raise broken(backup, "it is not the file that was saved: its hash is not the one in its note")


def _compare_note(backup: Path, seal: Seal) -> None:
    note = read_note(backup)
    if note is not None and note.journal != seal:
        raise broken(backup, "its journal is not the one that its note names")


def put_aside(target: Path, now: datetime) -> Path | None:
    """Keep a file, and what SQLite keeps beside it, under another name; None where there is none."""
    if not target.exists():
        return None
    kept = target.with_name(
        f"{target.name}.before-{now.astimezone(UTC):%Y%m%dT%H%M%SZ}-{secrets.token_hex(2)}"
    )
    for side in ("-wal", "-shm", ""):
        path = target.with_name(target.name + side)
        if path.exists():
            path.replace(kept.with_name(kept.name + side))
    return kept
