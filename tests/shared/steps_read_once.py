"""The steps of the schema are read once a process, as a clinic's program does that upgrades once."""

from __future__ import annotations

from collections.abc import Callable

from alembic.config import Config
from alembic.script import ScriptDirectory


def remembering(from_config: Callable[[Config], ScriptDirectory]) -> Callable[[Config], ScriptDirectory]:
    """``ScriptDirectory.from_config``, which runs the files of the same folders no second time."""
    known: dict[str | None, ScriptDirectory] = {}

    def read(config: Config) -> ScriptDirectory:
        folders = config.get_main_option("version_locations")
        if folders not in known:
            known[folders] = from_config(config)
        return known[folders]

    return read
