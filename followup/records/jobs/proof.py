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
# Not in the proofs of the first backups that held one.
_KINDS = "(kinds)"


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
        found = _hashes(file)
        return kept == found or kept == {name: told for name, told in found.items() if name != _KINDS}


def copy_without_proof(path: Path, copy: Path) -> bool:
    """Write the rows of a backup into a new file, from here on a database that changes; whether all arrived.

    Nothing of the old file but its rows: what was damaged where no row is stays behind. May raise what
    SQLite raises on a damaged file.
    """
    copy.touch(mode=0o600, exist_ok=False)
    with closing(sqlite3.connect(path)) as file:
        file.execute("VACUUM INTO ?", (str(copy),))
    whole = proof_holds(copy) is not False
    with closing(sqlite3.connect(copy)) as file, file:
        file.execute(f"DROP TABLE IF EXISTS {_PROOF}")
    return whole


def _hashes(file: sqlite3.Connection) -> dict[str, str]:
    file.text_factory = bytes
    try:
        shape = "SELECT name, sql FROM sqlite_master WHERE tbl_name <> ? ORDER BY name"
        kinds = "SELECT type, name, tbl_name FROM sqlite_master WHERE tbl_name <> ? ORDER BY name"
        found = {
            each: _hash(file.execute(asked, (_PROOF,))) for each, asked in ((_SCHEMA, shape), (_KINDS, kinds))
        }
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
