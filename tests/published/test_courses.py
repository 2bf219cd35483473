"""The table of courses, a row at a time (``courses.toml`` names each line's source and mark)."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

ROWS = tomllib.loads(Path(__file__).with_name("courses.toml").read_text("utf-8"))["row"]
ROLES = ("steroid", "nsaid", "antibiotic", "cycloplegic", "antiviral")


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['mark']}: {row['line']}")
def test_an_operation_gives_the_courses_of_its_line(made, row):
    told = made(row)
    for role in ROLES:
        if role in row:
            assert told.steps(role) == row[role], role
    assert set(row.get("held", ())) <= told.held()
    assert set(row.get("asks", ())) <= told.asks()
    if row.get("asks"):
        assert not told.plan.signable or set(row["asks"]) <= {"cycloplegic-angle"}
