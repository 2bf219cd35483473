"""The aims on the told operations, and the table as DEVELOPERS.md has it."""

from __future__ import annotations

from functools import cache

import pytest
from measure import LAST, UNSEEN, counts, measured
from told_operations import Judged, told_operations

FOLDERS = ("own", *UNSEEN)
SIZES = {"own": 40, "blind": 40, "second": 24, "french": 4} | dict.fromkeys(UNSEEN[2:], 30)
MOST_ASKED = 6
"""Of what was told, a telling, on the average of a folder."""


@cache
def _found(folder: str) -> tuple[Judged, ...]:
    return tuple(measured(told_operations(folder)))


@pytest.mark.parametrize(("folder", "many"), SIZES.items())
def test_the_aims_hold_on_every_folder(folder, many):
    figures = counts(_found(folder))
    assert len(told_operations(folder)) >= many
    assert figures["right of read"] >= 0.99
    assert figures["read or asked"] >= 0.90
    assert figures["asked"] <= MOST_ASKED * many
    assert [(one.told.id, one.field) for one in _found(folder) if one.verdict == "turned"] == []


def test_what_the_last_set_shows_once_whole_texts_are_judged_better():
    """As it came: 96.4% right of read, 87.8% read or asked, one turned. A text about another operation was
    read and three told ones were refused; without those, 99.3% and 94%."""
    figures = counts(_found(LAST))
    assert len(told_operations(LAST)) == 40
    assert figures["right of read"] >= 0.99
    assert figures["read or asked"] >= 0.94
    assert figures["asked"] <= MOST_ASKED * 35
    assert figures["turned"] == 0


def test_of_a_hundred_texts_that_are_no_told_operation_one_is_read():
    """Plans, lessons, letters, later looks, other operations and eyes: 85 of the 101 were read before."""
    assert len(told_operations("others")) == 101
    assert {one.told.id for one in _found("others")} <= {"third-11"}


def test_what_must_be_refused_is_refused_and_nothing_else():
    found = [one for folder in FOLDERS for one in _found(folder)]
    assert [(one.told.id, one.found) for one in found if one.field == "(all)"] == []
