"""The aims on the told operations, and the table as DEVELOPERS.md has it."""

from __future__ import annotations

import pytest
from measure import counts, measured
from told_operations import told_operations

FOLDERS = ("own", "blind", "second", "third")


@pytest.mark.parametrize(
    ("folder", "many"), [("own", 40), ("blind", 40), ("second", 24), ("third", 30), ("french", 4)]
)
def test_the_aims_hold_on_every_folder(folder, many):
    found = measured(told_operations(folder))
    figures = counts(found)
    assert len(told_operations(folder)) >= many
    assert figures["right of read"] >= 0.99
    assert figures["read or asked"] >= 0.90
    assert [(one.told.id, one.field) for one in found if one.verdict == "turned"] == []


def test_what_must_be_refused_is_refused_and_nothing_else():
    found = [one for folder in FOLDERS for one in measured(told_operations(folder))]
    assert [(one.told.id, one.found) for one in found if one.field == "(all)"] == []
