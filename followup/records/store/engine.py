"""The database engine: SQLite in a file with strict rules, or PostgreSQL by URL."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from pydantic_core import from_json
from sqlalchemy import Engine, create_engine, event, make_url
from sqlalchemy.engine import URL, Connection
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import ConnectionPoolEntry, NullPool

from followup.errors import FollowupError

# Longer than anything that is stored takes; whoever waits longer meets a computer that has stopped.
BUSY_MILLISECONDS = 30_000
# The option of a writer that waits for so many milliseconds instead.
PATIENCE = "patience"
# Sync endpoints run on a limited number of threads; the pool must not be smaller.
POOL_SIZE = 16
# What stands in a row stays out of every message and log. A list reads thousands of small lists as JSON, and
# this reader takes a quarter of the time of Python's own.
_ALWAYS: dict[str, Any] = {"hide_parameters": True, "json_deserializer": from_json}


def sqlite_url(path: Path) -> str:
    """The URL of a SQLite file."""
    return URL.create("sqlite", database=str(path)).render_as_string()


def make_engine(url: str, *, pooled: bool = True) -> Engine:
    """An engine for a SQLite file or ``postgresql+psycopg://`` URL; anything else is refused."""
    try:
        parsed = make_url(url)
    except (ArgumentError, ValueError):
        raise _bad_url("not a database URL") from None
    if parsed.drivername in ("postgres", "postgresql"):
        parsed = parsed.set(drivername="postgresql+psycopg")
    if parsed.drivername == "postgresql+psycopg":
        return create_engine(parsed, **_pool(pooled), **_ALWAYS, pool_pre_ping=True)
    if parsed.get_backend_name() != "sqlite":
        raise _bad_url(f"{parsed.drivername} is not supported")
    if not parsed.database or parsed.database == ":memory:":
        raise _bad_url("a SQLite database needs a file")
    engine = create_engine(parsed, **_pool(pooled), **_ALWAYS)
    event.listen(engine, "do_connect", _make_private(Path(parsed.database)))
    event.listen(engine, "connect", _set_rules)
    event.listen(engine, "begin", _begin)
    return engine


def _pool(pooled: bool) -> dict[str, Any]:
    return {"pool_size": POOL_SIZE, "max_overflow": 4} if pooled else {"poolclass": NullPool}


def _bad_url(what: str) -> FollowupError:
    return FollowupError(
        "store.url", what, where="database", fix="give a SQLite file or postgresql+psycopg://..."
    )


def _make_private(file: Path) -> Callable[..., None]:
    """A new file is its owner's alone from the first byte on; SQLite gives its mode to what lies beside."""

    def make(*_of_the_driver: object) -> None:
        # Where it can't be made, or is there already, the driver says what there is to say.
        with suppress(OSError):
            file.touch(mode=0o600, exist_ok=False)

    return make


def _set_rules(connection: Any, _entry: ConnectionPoolEntry) -> None:
    """The driver's own transactions are off: it would begin them too late to protect a read."""
    connection.isolation_level = None
    for rule in (
        f"busy_timeout={BUSY_MILLISECONDS}",
        "journal_mode=WAL",
        "foreign_keys=ON",
        # On the disk before it is acknowledged, also where the power goes the next moment.
        "synchronous=FULL",
        # What is deleted is overwritten in the file, and not only let go.
        "secure_delete=ON",
    ):
        connection.execute(f"PRAGMA {rule}")


def _begin(connection: Connection) -> None:
    """Writers take the lock at once, so that what they read stays true until they commit."""
    options = connection.get_execution_options()
    reading = options.get("reading", False)
    if reading or PATIENCE not in options:
        connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")
        return
    connection.exec_driver_sql(f"PRAGMA busy_timeout={options[PATIENCE]}")
    try:
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    finally:
        connection.exec_driver_sql(f"PRAGMA busy_timeout={BUSY_MILLISECONDS}")
