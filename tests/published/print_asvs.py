"""Print how the program stands against OWASP ASVS 5.0, levels 1 and 2: as Markdown, what is missing first.

python tests/published/print_asvs.py           what is missing, and how many of each
python tests/published/print_asvs.py --whole   every requirement
"""

from __future__ import annotations

import sys
import tomllib
from collections import Counter
from pathlib import Path
from typing import NamedTuple


class Requirement(NamedTuple):
    """``shown_by``: tests, or the reason."""

    number: str
    state: str
    asks: str
    shown_by: str


def requirements() -> tuple[Requirement, ...]:
    """The table, in its order."""
    chapters = tomllib.loads(Path(__file__).with_name("asvs.toml").read_text("utf-8"))
    return tuple(Requirement(number, *row) for rows in chapters.values() for number, row in rows.items())


def summary() -> list[str]:
    """How many of each state, and a line for each that is missing."""
    table = requirements()
    counts = Counter(one.state for one in table)
    told = ", ".join(f"{counts[state]} {state}" for state in ("covered", "missing", "not applicable"))
    missing = [one for one in table if one.state == "missing"]
    return [
        f"OWASP ASVS 5.0, levels 1 and 2: of {len(table)} requirements {told}. Missing:",
        "",
        *(f"- {one.number} {one.asks}: {one.shown_by}" for one in missing),
    ]


def whole() -> list[str]:
    """Every requirement as a row of a table."""
    rows = (f"| {one.number} | {one.asks} | {one.state} | {one.shown_by} |" for one in requirements())
    return ["| | asks | stands | shown by, or why |", "|---|---|---|---|", *rows]


if __name__ == "__main__":
    lines = [*summary(), "", *(whole() if "--whole" in sys.argv[1:] else [])]
    sys.stdout.write("\n".join(lines).rstrip() + "\n")
