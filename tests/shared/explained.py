"""Every statement that reaches a store, and what the database says of how it would find its rows."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from grown_history import grow_back
from sqlalchemy import Connection, Engine, event
from sqlalchemy.exc import IntegrityError

from followup.records.store.engine import make_engine, sqlite_url
from followup.records.store.migrations import upgrade
from followup.records.tables import metadata

# Everything else grows with the patients, or with the days that the clinic has worked.
SMALL = {
    "clinic": "one row",
    "site": "the places of the clinic",
    "staff": "the people of the clinic",
    "asked_role": "the people of the clinic",
    "protocol_signature": "one a version of the protocol",
    "heartbeat": "one a job",
    "lease": "one a job",
    "wrong_login": "emptied daily",
    "erased": "those few who asked for it",
    "stock_count": "one a medicine and site",
    "alembic_version": "one row",
}


# An index of a part of its table: plans in force.
PARTS = {
    str(index.name)
    for table in metadata.tables.values()
    for index in table.indexes
    if index.dialect_options["postgresql"]["where"] is not None
}


class _Explained(Exception):  # noqa: N818 - nothing is wrong
    """Ends a statement that was only to be explained."""


@dataclass
class Asked:
    """The statements that were executed, each once, with the values of one time."""

    statements: dict[str, tuple[Any, Any]] = field(default_factory=dict)
    raw: set[str] = field(default_factory=set)

    @contextmanager
    def of(self, engine: Engine) -> Iterator[None]:
        """While this is open, what ``engine`` executes is noted."""

        def note(_c: Any, _cursor: Any, statement: str, _p: Any, context: Any, _many: bool) -> None:
            if context is None or context.compiled is None:
                self.raw.add(statement)
            elif not context.isinsert:
                # One text for a list of however many values.
                given = context.compiled_parameters
                known = (context.compiled.statement, given[0] if given else {})
                if any(isinstance(value, list | tuple) for value in known[1].values()):
                    self.statements[context.compiled.string] = known
                else:
                    self.statements.setdefault(context.compiled.string, known)

        event.listen(engine, "before_cursor_execute", note)
        try:
            yield
        finally:
            event.remove(engine, "before_cursor_execute", note)


def scans(asked: Asked, blank: str) -> list[str]:
    """The statements for which the database would read a whole table that grows, with what it says.

    ``blank``: the URL of a database with nothing in it. In one that was used and emptied, what a server
    counted there turns its plans around.
    """
    engine = make_engine(blank, pooled=False)
    upgrade(engine)
    read = _scans_of_postgres if engine.dialect.name == "postgresql" else _scans_of_sqlite
    found = []
    with engine.connect() as connection:
        if engine.dialect.name == "postgresql":
            # On empty tables everything is cheap: what can be done without reading all of one, is.
            for setting in ("seqscan", "hashjoin", "mergejoin"):
                connection.exec_driver_sql(f"SET enable_{setting} = off")
        for sql, (statement, given) in asked.statements.items():
            plan = _plan(connection, statement, given)
            if bad := sorted(set(read(plan, sql))):
                found.append(f"{', '.join(bad)}: {' '.join(sql.split())}")
    engine.dispose()
    return found


def more_with_a_past(asked: Asked, file: Path, folder: Path, today: date) -> list[str]:
    """The statements for which SQLite takes many more steps where the clinic of ``file`` has a past."""
    new, old = (
        make_engine(sqlite_url(shutil.copy(file, folder / name)), pooled=False) for name in ("new", "old")
    )
    grow_back(old, 20_000, today)
    before, after = _steps(asked, new), _steps(asked, old)
    new.dispose()
    old.dispose()
    return sorted(
        f"{after[sql]} for {before[sql]}: {' '.join(sql.split())}"
        for sql in before
        if after[sql] > 2 * before[sql] + 300
    )


def _steps(asked: Asked, engine: Engine) -> dict[str, int]:
    """How many tens of steps SQLite takes for each of the statements; what they change is not kept."""
    taken: dict[str, int] = {}
    with engine.connect() as connection:
        driver: Any = connection.connection.driver_connection
        for sql, (statement, given) in asked.statements.items():
            counted: list[None] = []
            driver.set_progress_handler(lambda counted=counted: counted.append(None), 10)
            with suppress(IntegrityError):
                answer = connection.execute(statement, given)
                answer.all() if answer.returns_rows else None
            driver.set_progress_handler(None, 10)
            connection.rollback()
            taken[sql] = len(counted)
    return taken


def _plan(connection: Connection, statement: Any, given: Any) -> Any:
    """What the database says of the statement, which it does not execute."""
    how = "EXPLAIN (FORMAT JSON) " if connection.dialect.name == "postgresql" else "EXPLAIN QUERY PLAN "
    plan: list[Any] = []

    def instead(_c: Any, cursor: Any, sql: str, values: Any, *_more: Any) -> None:
        # Not by its own cursor, which may be one that the server keeps.
        plan.extend(cursor.connection.execute(how + sql, values).fetchall())
        raise _Explained

    event.listen(connection, "before_cursor_execute", instead)
    with suppress(_Explained):
        connection.execute(statement, given)
    event.remove(connection, "before_cursor_execute", instead)
    return plan


def _scans_of_sqlite(plan: Any, sql: str) -> Iterator[str]:
    """A table that is read without a condition on an index, beyond the first rows in an index's order."""
    names = dict(re.findall(r'(?:FROM|JOIN|,) "?(\w+)"?(?: AS "?(\w+)"?)?', sql))
    tables = {alias or table: table for table, alias in names.items()}
    sorts = any("TEMP B-TREE FOR ORDER BY" in row[3] for row in plan)
    for row in plan:
        scanned = re.match(r"SCAN (?!CONSTANT ROW)(\w+)", row[3])
        if scanned and not (_ends_early(sql) and not sorts):
            table = tables.get(scanned[1], scanned[1])
            if table not in SMALL:
                yield table


def _ends_early(sql: str) -> bool:
    return "LIMIT" in sql and "WHERE" not in sql


def _scans_of_postgres(plan: Any, _sql: str) -> Iterator[str]:
    (answer,) = plan[0]
    tree = json.loads(answer) if isinstance(answer, str) else answer
    yield from _of_node(tree[0]["Plan"], limited=False)


def _of_node(node: dict[str, Any], *, limited: bool, table: str = "") -> Iterator[str]:
    kind, table = node["Node Type"], node.get("Relation Name", table)
    by_index = kind in ("Index Scan", "Index Only Scan", "Bitmap Index Scan")
    whole = kind == "Seq Scan" or (by_index and "Index Cond" not in node and node["Index Name"] not in PARTS)
    if whole and table not in SMALL and not (limited and "Filter" not in node):
        yield table
    still = kind == "Limit" or (limited and kind not in ("Sort", "Aggregate", "Hash", "Materialize"))
    for below in node.get("Plans", ()):
        yield from _of_node(below, limited=still, table=table)
