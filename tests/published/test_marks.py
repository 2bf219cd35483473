"""Every check of this folder says where its figure comes from and how well that is known (``marks.toml``)."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

import pytest

HERE = Path(__file__).parent
MARKS = tomllib.loads((HERE / "marks.toml").read_text("utf-8"))
ROWS = {
    "worked_tapers.toml": "regimen",
}


def checks_in(path: Path) -> set[str]:
    tree = ast.parse(path.read_text("utf-8"))
    return {n.name for n in tree.body if isinstance(n, ast.FunctionDef) and n.name.startswith("test_")}


@pytest.mark.parametrize(
    "path", sorted(p for p in HERE.glob("test_*.py") if p.name != Path(__file__).name), ids=lambda p: p.name
)
def test_every_check_is_marked_and_every_mark_is_of_a_check(path):
    told = MARKS.get(path.name, {})
    assert set(told) == checks_in(path), "keep tests/published/marks.toml in step"
    assert set(told.values()) <= {"P", "S", "M", "C", "rows", "own"}


@pytest.mark.parametrize("file", sorted(ROWS))
def test_every_row_has_a_source_and_a_mark(file):
    rows = tomllib.loads((HERE / file).read_text("utf-8"))[ROWS[file]]
    assert rows
    for row in rows:
        assert row["mark"] in {"P", "S", "M", "C"}, row
        assert len(row["source"]) >= 5, row
