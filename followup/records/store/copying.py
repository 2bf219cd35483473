"""Carrying a whole clinic from one database to another, and proving that nothing was lost."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Engine, Table, func, insert, select, text
from sqlmodel import Session

from followup.errors import FollowupError
from followup.records.store.journal import Seal, canonical, verify_journal
from followup.records.store.migrations import schema_state, upgrade
from followup.records.tables import metadata

_ROWS = 500
# What servers write about themselves, and files that somebody just looks at; nothing in another database.
NOT_CARRIED = frozenset({"lease", "wrong_login", "list_import"})


@dataclass(frozen=True)
class Carried:
    """Rows by table, and the journal's seal, the same on both sides."""

    rows: dict[str, int]
    journal: Seal


def carry(source: Engine, target: Engine) -> Carried:
    """Copy every row of ``source`` into the empty ``target``, all or nothing, and compare both.

    The source is read as it is at one instant and never written to. Errors: ``move.source`` (schema),
    ``move.target`` (holds something), ``move.lost`` (the two differ), ``journal.broken``.
    """
    if schema_state(source) != "current":
        raise FollowupError(
            "move.source", "the database is not of this version", fix="open it once with: followup check"
        )
    if schema_state(target) == "empty":
        upgrade(target)
    elif schema_state(target) != "current":
        raise FollowupError(
            "move.target",
            "the database to move to is of another version of the program",
            fix="give an empty one",
        )
    with reading(source) as reader, target.begin() as writer:
        _refuse_full(writer)
        for table in carried_tables():
            if table.name == "site":
                # The first site is there in every new database.
                writer.execute(table.delete())
            for rows in batches(reader, table):
                writer.execute(insert(table), rows)
        _set_counters(writer)
        here, there = fingerprints(reader), fingerprints(writer)
        if here != there:
            lost = next(name for name in here if here[name] != there[name])
            raise FollowupError(
                "move.lost", f"{lost} differs after copying; nothing was kept", fix="try again"
            )
        seal = verify_journal(Session(reader))
        verify_journal(Session(writer), at_least=seal)
        return Carried({name: count for name, (count, _) in here.items()}, seal)


def fingerprints(connection: Connection) -> dict[str, tuple[int, str]]:
    """For each table the number of rows and a hash over all of them, the same on any database."""
    found = {}
    for table in carried_tables():
        count, digest = 0, hashlib.sha256()
        for rows in batches(connection, table):
            for row in rows:
                digest.update(canonical({key: _plain(value) for key, value in row.items()}).encode())
                count += 1
        found[table.name] = (count, digest.hexdigest())
    return found


def carried_tables() -> list[Table]:
    """The tables of a clinic, those before that others point to."""
    return [table for table in metadata.sorted_tables if table.name not in NOT_CARRIED]


def reading(engine: Engine) -> Connection:
    """A connection that sees one state of the store throughout."""
    if engine.dialect.name == "sqlite":
        return engine.execution_options(reading=True).connect()
    return engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True).connect()


def batches(connection: Connection, table: Table) -> Iterator[list[dict[str, Any]]]:
    """The rows of a table, some at a time, in an order in which they can be put into another."""
    ordered = select(table).order_by(*table.primary_key.columns)
    # A plan may name the version that replaced it, which has a higher number: those are put in last first.
    if table.name == "care_plan":
        ordered = select(table).order_by(table.c.id.desc())
    # Read from the server as it goes: a table of millions of rows would not fit into memory.
    result = connection.execute(ordered, execution_options={"yield_per": _ROWS})
    while rows := result.fetchmany(_ROWS):
        yield [dict(row._mapping) for row in rows]


def _refuse_full(writer: Connection) -> None:
    for table in carried_tables():
        if table.name == "site":
            continue
        if writer.execute(select(func.count()).select_from(table)).scalar_one():
            raise FollowupError(
                "move.target",
                f"the database to move to holds rows already ({table.name})",
                fix="give an empty one",
            )


def _set_counters(writer: Connection) -> None:
    """PostgreSQL counts ids by itself: its counters go on after the highest copied one."""
    if writer.dialect.name != "postgresql":
        return
    for table in carried_tables():
        if "id" not in table.c or table.c.id.type.python_type is not int:
            continue
        named = {"name": table.name}
        sequence = writer.execute(text("SELECT pg_get_serial_sequence(:name, 'id')"), named).scalar()
        highest = writer.execute(select(func.max(table.c.id))).scalar() or 0
        if sequence:
            following = {"sequence": sequence, "value": highest + 1}
            writer.execute(text("SELECT setval(:sequence, :value, false)"), following)


def _plain(value: Any) -> Any:
    return value.isoformat() if hasattr(value, "isoformat") else value
