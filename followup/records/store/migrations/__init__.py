"""The store's schema, step by step; :func:`upgrade` brings any older store to the newest step.

A store that is current is opened without Alembic: importing it and running the file of every step takes
longer than most commands work.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import IntegrityError

from followup.errors import FollowupError
from followup.records.store.engine import make_engine

if TYPE_CHECKING:
    from alembic.config import Config

# Any fixed number; it names the lock that keeps two PostgreSQL upgrades apart.
_UPGRADE_LOCK = 36_37_0001


def upgrade(engine: Engine, step: str = "head") -> None:
    """Bring the store to the newest schema, or to an older ``step``: all of it or nothing.

    Errors: ``store.newer``, ``upgrade``.
    """
    state = schema_state(engine)
    if state == "current":
        return
    if state == "newer":
        raise FollowupError(
            "store.newer",
            "the database was made by a newer version of the program",
            where="database",
            fix="install that version, or restore a backup made with this one",
        )
    # A connection of its own: foreign keys are switched off on it, and it is closed afterwards.
    own = make_engine(engine.url.render_as_string(hide_password=False), pooled=False)
    try:
        with own.connect() as connection:
            _upgrade(connection, step)
    except IntegrityError:
        raise _orphans() from None
    finally:
        own.dispose()


def schema_state(engine: Engine) -> Literal["empty", "older", "current", "newer"]:
    """How the store's schema compares with the newest step that this program knows."""
    with engine.execution_options(reading=True).connect() as connection:
        told = connection.dialect.has_table(connection, "alembic_version")
        asked = text("SELECT version_num FROM alembic_version")
        found = connection.execute(asked).scalar_one_or_none() if told else None
    if found is None:
        return "empty"
    known, newest = known_steps()
    if found not in known:
        return "newer"
    return "current" if found == newest else "older"


def known_steps() -> tuple[frozenset[str], str]:
    """Every step of the schema that this program knows, and the newest; read off the names of their files."""
    known = {path.name[1:5] for folder in _folders() for path in folder.glob("v[0-9]*.py")}
    return frozenset(known), max(known)


def _folders() -> list[Path]:
    """Where the steps lie, each in a file ``vNNNN_what.py`` that holds step ``NNNN``."""
    return [Path(__file__).parent / "versions"]


def _upgrade(connection: Connection, step: str) -> None:
    sqlite = connection.dialect.name == "sqlite"
    if sqlite:
        # Rebuilding a parent table with foreign keys on would delete the rows of its children. The
        # switch works only outside a transaction, so it goes to the driver's connection directly.
        driver = connection.connection.driver_connection
        assert driver is not None
        driver.execute("PRAGMA foreign_keys=OFF")
    with connection.begin():
        if not sqlite:
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _UPGRADE_LOCK})
        from alembic import command

        config = _config()
        config.attributes["connection"] = connection
        command.upgrade(config, step)
        if sqlite and connection.execute(text("PRAGMA foreign_key_check")).first() is not None:
            raise _orphans()


def _orphans() -> FollowupError:
    return FollowupError(
        "store.upgrade",
        "the upgrade would leave a row without the row it belongs to; nothing was changed",
        where="database",
        fix="restore the newest backup and report this",
    )


def _config() -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    folders = os.pathsep.join(str(folder) for folder in _folders())
    config.set_main_option("version_locations", folders.replace("%", "%%"))
    return config
