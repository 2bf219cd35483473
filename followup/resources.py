"""Where the files that travel with the program lie: in the wheel, or beside it in a checkout."""

from __future__ import annotations

from functools import cache
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


@cache
def folder(name: str) -> Path:
    """The folder ``name`` ("templates" or "locales")."""
    inside = _PACKAGE / name
    return inside if inside.is_dir() else _PACKAGE.parent / name
