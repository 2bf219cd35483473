"""Putting a backup back: in the place of a file, or into an empty database on a server."""

from __future__ import annotations

import secrets
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pyrage
from sqlalchemy import Engine

from followup.errors import FollowupError
from followup.records.jobs.backup import broken, file_hash, note_hash, note_of, read_note, verify_file
from followup.records.jobs.proof import drop_proof
from followup.records.store.copying import Carried, carry
from followup.records.store.durable import flush_folder, write_whole
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.journal import Seal
from followup.records.store.migrations import upgrade

_TRIES = 10


def restore(backup: Path, target: Path, now: datetime, *, passphrase: str = "") -> Path | None:
    """Put a backup in the place of the SQLite file ``target``; the file that was there is kept beside.

    Returns where the old file is kept; None where there was none. Nothing is touched unless the
    backup opens and is whole. Errors: ``backup.missing``, ``broken``, ``newer``, ``passphrase``.
    """
    target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    with _draft(backup, target.parent, target.name, passphrase) as draft:
        kept = put_aside(target, now)
        draft.replace(target)
        flush_folder(target.parent)
        return kept


def restore_into(backup: Path, target: Engine, *, passphrase: str = "") -> Carried:
    """Carry a backup into a database on a server, which must be empty: nothing there is ever replaced.

    All or nothing, and compared row by row. Errors: as :func:`restore`, and those of ``carry``.
    """
    with (
        tempfile.TemporaryDirectory(prefix="followup-") as folder,
        _draft(backup, Path(folder), "restored", passphrase) as draft,
    ):
        source = make_engine(sqlite_url(draft), pooled=False)
        try:
            return carry(source, target)
        finally:
            source.dispose()


@contextmanager
def _draft(backup: Path, folder: Path, name: str, passphrase: str) -> Iterator[Path]:
    """A copy of the backup, opened, checked and of the newest schema; gone again at the end."""
    if not backup.is_file():
        raise FollowupError("backup.missing", "no such file", where=str(backup), fix="name a backup")
    draft = folder / f"{name}.{secrets.token_hex(4)}.part"
    try:
        write_whole(draft, _opened(backup, passphrase))
        _, seal = verify_file(draft)
        _compare_hash(backup)
        _compare_note(backup, seal)
        drop_proof(draft)
        engine = make_engine(sqlite_url(draft), pooled=False)
        try:
            upgrade(engine)
        finally:
            engine.dispose()
        verify_file(draft)
        yield draft
    finally:
        for leftover in folder.glob(f"{draft.name}*"):
            leftover.unlink(missing_ok=True)


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
                    where=str(backup),
                    fix="try again",
                ) from None
    raise FollowupError(
        "backup.slow",
        "this computer is too busy or too slow to open the encrypted backup",
        where=str(backup),
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
