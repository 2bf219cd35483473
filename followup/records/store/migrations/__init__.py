"""The store's schema, step by step; :func:`upgrade` brings any older store to the newest step."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Literal

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import IntegrityError

from followup.errors import FollowupError
from followup.records.store.engine import make_engine

# Any fixed number; it names the lock that keeps two PostgreSQL upgrades apart.
_UPGRADE_LOCK = 36_37_0001


def upgrade(engine: Engine, step: str = "head") -> None:
    """Bring the store to the newest schema, or to an older ``step``: all of it or nothing.

    Errors: ``store.newer``, ``upgrade``.
    """
    if schema_state(engine) == "newer":
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
        found = MigrationContext.configure(connection).get_current_revision()
    if found is None:
        return "empty"
    known, newest = known_steps()
    if found not in known:
        return "newer"
    return "current" if found == newest else "older"


def known_steps() -> tuple[frozenset[str], str]:
    """Every step of the schema that this program knows, and the newest."""
    config = _config()
    known, newest = _steps(
        config.get_main_option("script_location"), config.get_main_option("version_locations")
    )
    return known, newest or ""


@cache
def _steps(*_folders: str | None) -> tuple[frozenset[str], str | None]:
    """The steps in these folders, and the newest; reading them means running each file."""
    scripts = ScriptDirectory.from_config(_config())
    return frozenset(script.revision for script in scripts.walk_revisions()), scripts.get_current_head()


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
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config
