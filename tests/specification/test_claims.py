"""Every line of the protocol's data is held by a row of the specification, with its value and its mark."""

from __future__ import annotations

import pytest
from specification import MARKS, chapters, data_leaves, files, origin_of, origins, same

HELD = (
    "rules-1-courses",
    "rules-2-needs",
    "facts",
    "protocol",
    "aftercare",
    "recall",
    "review",
    "cautions",
    "formulary",
    "names",
)
"""The data files whose every figure is claimed."""

CHAPTERS = chapters()
ROWS = [row for chapter in CHAPTERS for row in chapter.rows]
DATA = files(*HELD)
LEAVES = {stem: data_leaves(stem, data) for stem, data in DATA.items()}
ORIGINS = {stem: origins(stem, data) for stem, data in DATA.items()}
CLAIMED = [(leaf, value, row) for row in ROWS for leaf, value in row.claims.items()]


@pytest.mark.parametrize("stem", HELD)
def test_every_deciding_value_of_a_data_file_is_claimed_by_a_row(stem):
    claimed = {leaf for leaf, _, _ in CLAIMED}
    unclaimed = [f"{leaf} = {value!r}" for leaf, value in LEAVES[stem].items() if leaf not in claimed]
    assert not unclaimed, f"{len(unclaimed)} values that no row holds:\n" + "\n".join(unclaimed)


def test_no_value_is_claimed_by_two_rows():
    first: dict[str, object] = {}
    twice = [
        f"{leaf}: {first[leaf]} and {row}" for leaf, _, row in CLAIMED if first.setdefault(leaf, row) != row
    ]
    assert not twice, "\n".join(twice)


def test_every_claimed_value_is_the_one_in_the_data():
    every = {leaf: value for found in LEAVES.values() for leaf, value in found.items()}
    wrong = [
        f"{row}\n    {leaf}: the row says {value!r}, the data "
        + (repr(every[leaf]) if leaf in every else "have no such line")
        for leaf, value, row in CLAIMED
        if leaf not in every or not same(value, every[leaf])
    ]
    assert not wrong, "\n".join(wrong)


def test_a_row_and_the_data_it_holds_have_one_mark_and_one_source():
    every = {address: origin for found in ORIGINS.values() for address, origin in found.items()}
    apart = {
        f"{row}\n    {leaf}: the row says {row.mark}, {row.source}; the data {origin[0]}, {origin[1]}"
        for leaf, _, row in CLAIMED
        if (origin := origin_of(leaf, every)) and origin != (row.mark, row.source)
    }
    assert not apart, "\n".join(sorted(apart))


@pytest.mark.parametrize("chapter", CHAPTERS, ids=lambda chapter: chapter.file)
def test_every_row_can_be_read_and_signed(chapter):
    for row in chapter.rows:
        assert len(row.situation) > 3, row
        assert len(row.expected) > 3, row
        assert len(row.source) > 4, row
        assert row.mark in MARKS, row
        assert row.cases or row.claims, f"{row}: neither a case nor a line of data"
        assert row.mark not in "PS" or not row.source.startswith(("common practice", "from memory")), row


def test_no_situation_stands_twice():
    told = [(row.file, row.situation) for row in ROWS]
    assert len(told) == len(set(told)), sorted({one for one in told if told.count(one) > 1})
