"""Reading an archive that may be damaged or do harm: never more than it says, nothing by its paths."""

from __future__ import annotations

import hashlib
import json
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO, BinaryIO

from followup.errors import FollowupError
from followup.exchange.archive.manifest import (
    CLINICS_OWN,
    KEYS,
    MANIFEST,
    TABLES,
    ArchivedFile,
    Manifest,
    read_manifest,
)
from followup.records.jobs.refilling import broken
from followup.records.store.open_rows import Line

MOST_FILES = 1_000
# A row holds one record or one plan at most.
MOST_LINE = 16_000_000
MOST_SMALL = 4_000_000
# Clinics shrink to the tenth part; what unpacks to so much more was made to fill a disk.
MOST_TIMES = 300
_PIECE = 1 << 20
_PACKED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_END, _END_64 = b"PK\x05\x06", b"PK\x06\x07"
_MOST_DIRECTORY = 1_000_000


class Archive:
    """An archive whose every file is as its manifest says; ``name`` stands in each refusal."""

    def __init__(self, file: BinaryIO, name: str) -> None:
        """Errors: ``archive.broken``, ``archive.size``, those of its manifest."""
        self.name = name
        with _damage(name):
            _refuse_endless_directory(file)
            self._zip = zipfile.ZipFile(file)
            packed = file.seek(0, 2)
        names = [one.filename for one in self._zip.infolist()]
        if any(one.compress_type not in _PACKED for one in self._zip.infolist()):
            raise broken(name, "it is packed in a way that is not that of an archive")
        if MANIFEST not in names:
            raise broken(name, "it holds no manifest.json: it is not the archive of a clinic")
        with _damage(f"{name}: {MANIFEST}"), self._zip.open(MANIFEST) as told:
            data = told.read(MOST_SMALL + 1)
        self.manifest: Manifest = read_manifest(data, name)
        self._files = {one.name: one for one in self.manifest.files}
        if sorted(names) != sorted([*self._files, MANIFEST]):
            odd = set(names) ^ {*self._files, MANIFEST}
            told_of = min(odd)[:80] if odd else "one of its files"
            raise broken(name, f"{told_of} is missing, or is not in its manifest, or is there twice")
        if self.unpacked > MOST_TIMES * max(packed, _PIECE):
            raise FollowupError(
                "archive.size",
                f"it would unpack to {MOST_TIMES} times its size or more",
                where=name,
                fix="take an archive that this program made",
            )
        for one in self.manifest.files:
            self._compare(one)

    @property
    def unpacked(self) -> int:
        """Bytes of all its files together, as the manifest says and as was found."""
        return sum(one.bytes for one in self.manifest.files)

    def tables(self) -> Iterator[tuple[str, Iterator[Line]]]:
        """Each table by its name, with its rows as they are read."""
        for one in self.manifest.files:
            if one.name.startswith(TABLES):
                yield one.name[len(TABLES) : -len(".jsonl")], self._lines(one)

    @property
    def keys(self) -> bytes | None:
        """The key file as it was sealed; None where it was left out."""
        return self._small(KEYS) if KEYS in self._files else None

    def clinics_own(self) -> dict[str, bytes]:
        """The clinic's own files by their path in its folder."""
        return {
            name[len(CLINICS_OWN) :]: self._small(name)
            for name in self._files
            if name.startswith(CLINICS_OWN)
        }

    def _compare(self, one: ArchivedFile) -> None:
        digest, size = hashlib.sha256(), 0
        with self._open(one.name) as file:
            while piece := file.read(_PIECE):
                size += len(piece)
                if size > one.bytes:
                    break
                digest.update(piece)
        if size != one.bytes or digest.hexdigest() != one.sha256:
            raise broken(f"{self.name}: {one.name}", "its checksum is not the one in the manifest")

    def _lines(self, one: ArchivedFile) -> Iterator[Line]:
        number = 0
        with self._open(one.name) as file:
            while data := file.readline(MOST_LINE + 1):
                number += 1
                yield Line(f"{one.name} line {number}", _row(data, f"{self.name}: {one.name} line {number}"))
        if number != one.rows:
            raise broken(f"{self.name}: {one.name}", f"it holds {number} rows, the manifest says {one.rows}")

    def _small(self, name: str) -> bytes:
        with self._open(name) as file:
            data = file.read(MOST_SMALL + 1)
        if len(data) > MOST_SMALL:
            raise broken(f"{self.name}: {name}", f"it is larger than {MOST_SMALL} bytes")
        return data

    @contextmanager
    def _open(self, name: str) -> Iterator[IO[bytes]]:
        with _damage(f"{self.name}: {name}"), self._zip.open(name) as file:
            yield file


def _row(data: bytes, place: str) -> dict[str, object]:
    if len(data) > MOST_LINE:
        raise broken(place, f"the line is longer than {MOST_LINE} bytes")
    try:
        row = json.loads(data.decode("utf-8"), parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise broken(place, "the line is no JSON") from None
    if not isinstance(row, dict):
        raise broken(place, "the line is no JSON object")
    return row


def _no_number(said: str) -> object:
    raise ValueError(said)


def _refuse_endless_directory(file: BinaryIO) -> None:
    """A ZIP's list of files is read whole before anything of it can be refused."""
    end = file.seek(0, 2)
    file.seek(max(0, end - 42))
    tail = file.read()
    if len(tail) < 22 or tail[-22:-18] != _END or tail[-2:] != b"\0\0":
        raise zipfile.BadZipFile
    counted = [struct.unpack("<HL", tail[-12:-6])]
    if tail[:4] == _END_64:
        # Readers differ in where they look for the longer count.
        for place in (end - 98, struct.unpack("<Q", tail[8:16])[0]):
            file.seek(place)
            counted.append(struct.unpack("<QQ", file.read(56)[32:48]))
    if any(files > MOST_FILES or size > _MOST_DIRECTORY for files, size in counted[-2:]):
        raise zipfile.BadZipFile
    file.seek(0)


@contextmanager
def _damage(where: str) -> Iterator[None]:
    """Whatever a damaged ZIP may raise, as one line."""
    try:
        yield
    except FollowupError:
        raise
    except (
        zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError, ValueError, RuntimeError, LookupError
    ):  # fmt: skip
        raise broken(where, "the file is damaged, not whole, or no archive") from None
