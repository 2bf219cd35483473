"""Writing an archive: rows in, lines out."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import BinaryIO

from followup.clinical.record import Record
from followup.errors import FollowupError
from followup.exchange.archive.manifest import (
    CLINICS_OWN,
    KEYS,
    MANIFEST,
    READ_ME,
    SCHEMAS,
    TABLES,
    ArchivedFile,
    JournalSeal,
    Manifest,
    may_be_called,
    written,
)
from followup.exchange.archive.read_me import read_me
from followup.exchange.archive.schemas import DIALECT, table_schema
from followup.exchange.archive.zipped import Put, ZipOut
from followup.records.store.journal import Seal
from followup.records.store.open_rows import OpenTable

LEFT_OUT = (
    "passwords",
    "keys of second factors",
    "log-ins that are open, and wrong ones",
    "leases of servers that are at work",
)
WITHOUT_KEYS = "the keys that seal the codes of sheets"


@dataclass(frozen=True)
class Everything:
    """What goes into an archive beside the rows.

    ``program``: its version. ``step``: of the schema. ``keys``: the key file, sealed; None: left out.
    ``own``: the clinic's own files (translations that it reviewed, its protocol) by their names.
    """

    program: str
    step: str
    made: datetime
    seal: Seal
    keys: bytes | None
    own: Mapping[str, bytes]


def write_archive(
    file: BinaryIO, every: Everything, contents: Iterable[tuple[OpenTable, Iterable[Mapping[str, object]]]]
) -> Manifest:
    """Write the archive, a row at a time, and what stands in its manifest."""
    with ZipOut(file, every.made) as out:
        out.put(READ_ME, [read_me(keys=every.keys is not None)])
        files = [_file(out.files[0])]
        for table, rows in contents:
            files.append(_file(out.put(f"{TABLES}{table.name}.jsonl", _lines(rows)), counted=True))
            files.append(_file(out.put(f"{SCHEMAS}{table.name}.schema.json", [_pretty(table_schema(table))])))
        files += [_file(out.put(name, [content])) for name, content in _beside(every)]
        manifest = Manifest(
            program=every.program,
            step=every.step,
            made=every.made,
            journal=JournalSeal(entries=every.seal.entries, hash=every.seal.hash),
            left_out=LEFT_OUT if every.keys is not None else (*LEFT_OUT, WITHOUT_KEYS),
            files=tuple(files),
        )
        out.put(MANIFEST, [written(manifest)])
    return manifest


def _beside(every: Everything) -> Iterator[tuple[str, bytes]]:
    """What lies beside the tables: schemas, the sealed keys, the clinic's own files."""
    yield (
        f"{SCHEMAS}operative_record.schema.json",
        _pretty({"$schema": DIALECT, **Record.model_json_schema()}),
    )
    yield f"{SCHEMAS}manifest.schema.json", _pretty({"$schema": DIALECT, **Manifest.model_json_schema()})
    if every.keys is not None:
        yield KEYS, every.keys
    for path, content in sorted(every.own.items()):
        if not may_be_called(name := f"{CLINICS_OWN}{path}"):
            raise FollowupError(
                "archive.name",
                "a file of this name can't go into an archive",
                where=path,
                fix="call it by letters of a to z, digits and hyphens",
            )
        yield name, content


def _lines(rows: Iterable[Mapping[str, object]]) -> Iterator[bytes]:
    for row in rows:
        yield json.dumps(row, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode() + b"\n"


def _file(put: Put, *, counted: bool = False) -> ArchivedFile:
    return ArchivedFile(
        name=put.name, sha256=put.sha256, bytes=put.bytes, rows=put.pieces if counted else None
    )


def _pretty(content: Mapping[str, object]) -> bytes:
    return (json.dumps(content, indent=1, ensure_ascii=False) + "\n").encode()
