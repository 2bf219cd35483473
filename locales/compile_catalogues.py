"""Build hook: compile every catalogue and put it into the wheel, so that running needs no tool."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class CustomBuildHook(BuildHookInterface):
    """Writes ``*.mo`` beside ``*.po`` and ships the compiled files and their review states."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        root = Path(self.root) / "locales"
        for source in sorted(root.glob("*/LC_MESSAGES/*.po")):
            with source.open("rb") as file:
                catalogue = read_po(file, locale=source.parent.parent.name)
            target = source.with_suffix(".mo")
            with target.open("wb") as file:
                write_mo(file, catalogue)
            for path in (source, target):
                inside = path.relative_to(root).as_posix()
                build_data["force_include"][str(path)] = f"followup/locales/{inside}"
