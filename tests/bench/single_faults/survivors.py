"""Faults that no test can notice: ``survivors.toml``, which may only shrink."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

LIST = Path(__file__).parents[1] / "survivors.toml"


@cache
def survivors() -> dict[str, str]:
    """Each by its name, with the reason why it can't reach a patient."""
    return {line["id"]: line["why"] for line in tomllib.loads(LIST.read_text("utf-8")).get("survivor", [])}


@cache
def most() -> int:
    """No more than this many may ever stand in the list."""
    return int(tomllib.loads(LIST.read_text("utf-8"))["most"])
