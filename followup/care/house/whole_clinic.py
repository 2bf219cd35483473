"""The whole clinic handed on as an open archive, and brought back from one into an empty database."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

from followup import __version__
from followup.clinical.protocol import files as protocol_files
from followup.errors import FollowupError
from followup.exchange.archive.manifest import KEYS
from followup.exchange.archive.reading import Archive
from followup.exchange.archive.writing import Everything, write_archive
from followup.recall.codes.codes import create_keyring, load_keyring
from followup.records.jobs.refilling import Refilling, note_handed_over, refill, whole_clinic
from followup.records.jobs.restoring import unsealed
from followup.records.store.durable import write_whole, writing_whole
from followup.records.store.journal import Seal
from followup.records.store.store import Store
from followup.records.views import Actor

_PROTOCOL = "protocol"


@dataclass(frozen=True)
class ClinicsFiles:
    """Where what is not in the database lies. ``protocol``: None where it is the sample."""

    folder: Path
    key_file: Path
    protocol: Path | None
    passphrase: str = field(repr=False)


@dataclass(frozen=True)
class HandedOn:
    """What was written."""

    rows: int
    files: int


@dataclass(frozen=True)
class BroughtIn:
    """What came back. ``codes_scan``: sheets printed before can be scanned; else their codes are typed.

    ``protocol``: the folder in which the clinic's own protocol lies now; None where it has none.
    """

    rows: int
    journal: Seal
    codes_scan: bool
    protocol: Path | None


def hand_on(
    store: Store, to: Path, own: ClinicsFiles, *, by: Actor, now: datetime, with_keys: bool
) -> HandedOn:
    """Write the clinic into the new file ``to``, whole or not at all, and into the journal that it was.

    Errors: ``file.write``, ``archive.passphrase``, ``archive.name``, ``journal.broken``, ``journal.unlike``.
    """
    with new_file(to) as out:
        keys = _sealed(own) if with_keys else None
        with whole_clinic(store.engine) as whole:
            every = Everything(__version__, whole.step, now, whole.seal, keys, _clinics_own(own))
            manifest = write_archive(out, every, whole.contents)
        rows = sum(one.rows or 0 for one in manifest.files)
        sha256 = _hash(out)
        with store.write(by, now) as unit:
            note_handed_over(
                unit, "clinic exported", archive=to.name, sha256=sha256, rows=rows, keys=with_keys
            )
    return HandedOn(rows, len(manifest.files) + 1)


@contextmanager
def new_file(to: Path) -> Iterator[BinaryIO]:
    """A new file, whole or not at all, its owner's alone. Error ``file.write``."""
    if to.exists():
        raise FollowupError("file.write", "it is there already", where=str(to), fix="name a new file")
    try:
        with writing_whole(to) as out:
            yield out
    except OSError as exc:
        reason = exc.strerror or "it can't be written"
        raise FollowupError(
            "file.write", reason, where=str(to), fix="free some space, or name a file in another folder"
        ) from None


@contextmanager
def archive_at(path: Path) -> Iterator[tuple[Archive, str]]:
    """An archive, every checksum compared, and the hash of the file. Errors: ``file.read``, ``archive.*``."""
    try:
        file = path.open("rb")
    except (OSError, ValueError) as exc:
        reason = (exc.strerror if isinstance(exc, OSError) else "") or "it can't be read"
        raise FollowupError("file.read", reason, where=str(path), fix="name a readable file") from None
    with file:
        archive = Archive(file, path.name)
        yield archive, _hash(file)


def bring_in(
    found: tuple[Archive, str], store: Store, own: ClinicsFiles, *, by: Actor, now: datetime, with_keys: bool
) -> BroughtIn:
    """Put an archive into an empty database and the clinic's own files into its folder: all, or nothing.

    Nobody has a password afterwards. Errors: ``archive.*``, ``backup.passphrase``, those of ``carry``.
    """
    archive, sha256 = found
    _refuse_full_disk(archive, own.folder)
    told = archive.manifest
    with _files_of(archive, own, with_keys=with_keys) as keys_are_there:
        journal = Seal(told.journal.entries, told.journal.hash)
        what = Refilling(archive.name, sha256, told.step, journal, archive.tables(), by, now)
        carried = refill(what, store.engine, own.folder)
    if not own.key_file.exists():
        create_keyring(own.key_file)
    has_protocol = any(name.startswith(f"{_PROTOCOL}/") for name in archive.clinics_own())
    protocol = own.folder / _PROTOCOL if has_protocol else None
    return BroughtIn(sum(carried.rows.values()), carried.journal, keys_are_there, protocol)


def _clinics_own(own: ClinicsFiles) -> dict[str, bytes]:
    """What of the clinic lies in files: translations that it reviewed, and its protocol."""
    found = {
        path.relative_to(own.folder).as_posix(): path
        for path in (own.folder / "locales").glob("*/LC_MESSAGES/*.po")
    }
    if own.protocol is not None:
        found |= {f"{_PROTOCOL}/{path.name}": path for _, path in protocol_files.paths(own.protocol)}
    return {name: path.read_bytes() for name, path in found.items() if path.is_file()}


def _sealed(own: ClinicsFiles) -> bytes:
    if not own.passphrase:
        raise FollowupError(
            "archive.passphrase",
            "the keys of the codes go into an archive only encrypted",
            where="--with-keys",
            fix="give a passphrase in FOLLOWUP_BACKUP_PASSPHRASE or its _FILE",
        )
    load_keyring(own.key_file)
    # Loaded here: without a passphrase nothing of it is needed.
    import pyrage

    return bytes(pyrage.passphrase.encrypt(own.key_file.read_bytes(), own.passphrase))


@contextmanager
def _files_of(archive: Archive, own: ClinicsFiles, *, with_keys: bool) -> Iterator[bool]:
    """The clinic's files in their places, taken away again if the rest fails; whether its keys are there."""
    wanted = {own.folder / name: content for name, content in archive.clinics_own().items()}
    if archive.keys is not None and with_keys:
        wanted[own.key_file] = _opened_keys(archive.name, archive.keys, own.passphrase)
    new = {path: content for path, content in wanted.items() if _is_new(path, content)}
    # A key file that somebody has put here by hand is taken for the clinic's.
    keys_are_there = own.key_file in wanted or own.key_file.exists()
    try:
        for path, content in new.items():
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            write_whole(path, content)
        if own.key_file in new:
            load_keyring(own.key_file)
        yield keys_are_there
    except BaseException:
        for path in new:
            path.unlink(missing_ok=True)
            _remove_empty(path.parent, own.folder)
        raise


def _remove_empty(folder: Path, root: Path) -> None:
    """Take the folders away that were made for files that did not stay."""
    while folder != root and folder.is_relative_to(root) and folder.is_dir() and not any(folder.iterdir()):
        folder.rmdir()
        folder = folder.parent


def _is_new(path: Path, content: bytes) -> bool:
    if not path.exists():
        return True
    if path.is_file() and path.read_bytes() == content:
        return False
    raise FollowupError(
        "archive.file", "another one is here already", where=str(path), fix="name a new --folder"
    )


def _opened_keys(name: str, sealed: bytes, passphrase: str) -> bytes:
    if not passphrase:
        raise FollowupError(
            "archive.passphrase",
            "the keys of its codes are encrypted",
            where=name,
            fix="give their passphrase in FOLLOWUP_BACKUP_PASSPHRASE or its _FILE, or add --without-keys: "
            "codes that were printed are typed then, not scanned",
        )
    return unsealed(sealed, passphrase, f"{name}: {KEYS}")


def _refuse_full_disk(archive: Archive, folder: Path) -> None:
    free = shutil.disk_usage(folder).free
    if archive.unpacked > free:
        raise FollowupError(
            "archive.space",
            f"it needs {archive.unpacked} bytes to unpack and {free} are free",
            where=str(folder),
            fix="free some space, or name a --folder on another disk",
        )


def _hash(file: BinaryIO) -> str:
    digest = hashlib.sha256()
    file.seek(0)
    while piece := file.read(1 << 20):
        digest.update(piece)
    return digest.hexdigest()
