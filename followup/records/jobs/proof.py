"""The proof inside a backup: a hash over the rows of each table, for a file without its note.

It looks at the file's own tables and raw values, and so holds whatever version of the program reads it.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

_PROOF = "backup_proof"
_SCHEMA = "(schema)"


def put_proof(path: Path) -> None:
    """Write the proof into a backup that nobody else has open."""
    with closing(sqlite3.connect(path)) as file:
        found = _hashes(file)
        with file:
            file.execute(f"CREATE TABLE {_PROOF} (name TEXT PRIMARY KEY, sha256 TEXT NOT NULL)")
            file.executemany(f"INSERT INTO {_PROOF} VALUES (?, ?)", found.items())  # noqa: S608


def proof_holds(path: Path) -> bool | None:
    """Whether every row is as it was when the backup was taken; None where it holds no proof.

    May raise what SQLite raises on a damaged file.
    """
    with closing(sqlite3.connect(path)) as file:
        if not file.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (_PROOF,)).fetchone():
            return None
        kept = dict(file.execute(f"SELECT name, sha256 FROM {_PROOF}"))  # noqa: S608
        return bool(kept == _hashes(file))


def drop_proof(path: Path) -> None:
    """Take the proof out: from here on the file is a database that changes."""
    with closing(sqlite3.connect(path)) as file, file:
        file.execute(f"DROP TABLE IF EXISTS {_PROOF}")


def _hashes(file: sqlite3.Connection) -> dict[str, str]:
    file.text_factory = bytes
    try:
        shape = "SELECT name, sql FROM sqlite_master WHERE tbl_name <> ? ORDER BY name"
        found = {_SCHEMA: _hash(file.execute(shape, (_PROOF,)))}
        tables = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT IN (?, 'sqlite_sequence')"
        for (name,) in file.execute(tables, (_PROOF,)).fetchall():
            quoted = name.decode().replace('"', '""')
            found[name.decode()] = _hash(file.execute(f'SELECT * FROM "{quoted}" ORDER BY rowid'))  # noqa: S608
        return found
    finally:
        file.text_factory = str


def _hash(rows: Iterator[tuple[object, ...]] | sqlite3.Cursor) -> str:
    digest = hashlib.sha256()
    for row in rows:
        digest.update(repr(row).encode())
    return digest.hexdigest()
