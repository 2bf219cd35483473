"""The everyday rules as data: days by the cut, refused with file and line."""

from __future__ import annotations

from datetime import date

import pytest

from followup.clinical.protocol.files import AFTERCARE
from followup.clinical.protocol.load import SAMPLE, load_protocol
from followup.clinical.protocol.reader import read, twice
from followup.clinical.record import Operation
from followup.errors import FollowupError

PLAIN = {
    "eye": "left",
    "eye_drawn": "left",
    "date": "2026-06-01",
    "procedure": "phacoemulsification",
    "cut_mm": 2.4,
    "chamber": "normal",
}


def _operation(**changes) -> Operation:
    return Operation.model_validate({**PLAIN, **changes})


@pytest.mark.parametrize(
    ("changes", "large"),
    [
        ({}, False),
        ({"cut_mm": 4.9}, False),
        ({"cut_mm": 5.0}, True),
        ({"cut_mm": None}, False),
        ({"cut_mm": None, "procedure": "extracapsular"}, True),
        ({"stitches": 1}, True),
        ({"stitches": 0}, False),
        ({"watertight": False}, True),
        ({"chamber": "shallow"}, True),
        ({"chamber": None}, True),
    ],
)
def test_a_large_stitched_leaking_or_shallow_eye_has_the_longer_days(changes, large):
    assert load_protocol().aftercare.is_large(_operation(**changes)) is large


def test_no_rule_is_shorter_for_a_large_cut_and_each_day_counts_from_the_operation():
    aftercare = load_protocol().aftercare
    for advice in aftercare.advice:
        small = aftercare.last_day(advice, _operation())
        large = aftercare.last_day(advice, _operation(cut_mm=10))
        assert (small is None) == (large is None)
        assert small is None or small <= large
    shield = next(a for a in aftercare.advice if a.id == "shield")
    assert aftercare.last_day(shield, _operation()) == date(2026, 6, 8)
    assert aftercare.last_day(shield, _operation(stitches=5)) == date(2026, 6, 29)


def _load(path):
    found = read(AFTERCARE, path)
    for problem in twice(found):
        raise problem


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('place = "important"', 'place = "wall"', '"place"'),
        ("small = 28\n", "", "give both small and large"),
        ('when = ["gas in the eye"]', 'when = ["gas"]', '"when.0"'),
        ("large = 42", "large = 4", "large can't be shorter than small"),
        ('id = "shield"', 'id = "rub"', '"rub" stands twice'),
        ("press_minutes = 2 ", "press_minutes = 0 ", "greater than or equal to 1"),
        ('mark = "C"\n\n[[advice]]', 'mark = "C"\ncolour = 1\n\n[[advice]]', 'unknown key "large.colour"'),
    ],
)
def test_a_wrong_file_is_refused_with_its_line(tmp_path, old, new, says):
    text = (SAMPLE / "aftercare.toml").read_text("utf-8")
    assert old in text
    path = tmp_path / "aftercare.toml"
    path.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(FollowupError) as refused:
        _load(path)
    assert says in refused.value.what
    assert refused.value.where.startswith("aftercare.toml line ")
