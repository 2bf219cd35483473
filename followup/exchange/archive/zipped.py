"""Files put into a ZIP as they are made, each with its checksum: nothing is ever held whole."""

from __future__ import annotations

import hashlib
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import BinaryIO

from followup.exchange.archive.manifest import date_of

_PRIVATE = 0o100600 << 16
# The day before which a ZIP knows none.
_EARLIEST = 1980


@dataclass(frozen=True)
class Put:
    """A file as it lies in the ZIP. ``pieces``: of how many it was made, the lines of a table."""

    name: str
    sha256: str
    bytes: int
    pieces: int


class ZipOut:
    """A ZIP that is being written; the same files, made at the same instant, give the same bytes."""

    def __init__(self, file: BinaryIO, made: datetime) -> None:
        self._zip = zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED)
        self._date = date_of(made) if made.year >= _EARLIEST else (_EARLIEST, 1, 1, 0, 0, 0)
        self.files: list[Put] = []

    def put(self, name: str, pieces: Iterable[bytes]) -> Put:
        """Add a file, piece by piece."""
        told = zipfile.ZipInfo(name, self._date)
        told.compress_type, told.external_attr = zipfile.ZIP_DEFLATED, _PRIVATE
        told.create_system = 3
        digest, size, count = hashlib.sha256(), 0, 0
        # A table may turn out longer than the four gigabytes of which the plain format knows.
        with self._zip.open(told, "w", force_zip64=True) as out:
            for piece in pieces:
                out.write(piece)
                digest.update(piece)
                size, count = size + len(piece), count + 1
        self.files.append(Put(name, digest.hexdigest(), size, count))
        return self.files[-1]

    def __enter__(self) -> ZipOut:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            self._zip.close()
        else:
            # Given up: it would else try to write its end once nobody holds it any more.
            self._zip.fp = None
