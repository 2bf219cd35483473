"""What speaks against a medicine, a row at a time (``blocks.toml`` names each line's source and mark)."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path

import pytest

from followup.clinical.contraindications import check_medicine

ROWS = tomllib.loads(Path(__file__).with_name("blocks.toml").read_text("utf-8"))["row"]
SEVERITY = {"": 0, "note": 1, "warn": 2, "ask": 3, "stop": 4}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['mark']}: {row['line']}")
def test_a_medicine_is_stopped_asked_about_or_warned_of_as_its_line_says(written, sample, row):
    found = check_medicine(
        written(row),
        sample.formulary[row["medicine"]],
        None if row.get("by_mouth") else "right",
        new=True,
        days=row.get("days", 7),
        max_count=row.get("count", 2),
        cautions=sample.cautions,
        as_of=date(2024, 2, 1),
    )
    own = [
        f for f in found if not f.id.endswith((".not-asked", ".past-label")) or "nobody asked" in row["line"]
    ]
    gravest = max((f.level for f in own), key=SEVERITY.__getitem__, default="")
    assert gravest == row["level"], [(f.id, f.level) for f in found]
    if row["level"] in ("stop", "ask"):
        assert any(f.holds for f in own)
