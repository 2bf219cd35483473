"""The windows and pressure tiers, a row at a time (``looks.toml`` names each line's source and mark)."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

ROWS = tomllib.loads(Path(__file__).with_name("looks.toml").read_text("utf-8"))["row"]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['mark']}: {row['line']}")
def test_an_operation_asks_for_the_looks_of_its_line(made, row):
    told = made(row)
    found = told.windows()
    for name, window in row.get("looks", {}).items():
        assert found.get(name) == window, name
    assert not set(row.get("none", ())) & set(found)
    if "tier" in row:
        assert told.plan.tiers == {"right": row["tier"]}
