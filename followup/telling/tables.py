"""The tables that hold in every language of a telling: ``data/<name>.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Any


def folder() -> Traversable:
    """The folder of the tables, and of one folder a language."""
    return resources.files("followup.telling") / "data"


@cache
def table(name: str) -> Mapping[str, Any]:
    """The table of this name, read once. Not to be changed."""
    return tomllib.loads((folder() / f"{name}.toml").read_text(encoding="utf-8"))
