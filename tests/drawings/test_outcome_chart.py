"""The bars of the outcomes: as high as their counts, the line where the share is, read either way."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from followup.drawings.outcomes import BARS_FOOT, BARS_TOP, LINE_FOOT, LINE_TOP, build_chart

COUNTS = st.tuples(st.integers(0, 400), st.integers(0, 400), st.integers(0, 400)).filter(lambda c: sum(c) > 0)


@given(st.lists(COUNTS, min_size=1, max_size=6))
def test_each_part_is_as_high_as_its_count_and_the_parts_stand_on_each_other(months):
    chart = build_chart(months)
    most = max(map(sum, months))
    for bar, counts in zip(chart.bars, months, strict=True):
        assert bar.all == sum(counts)
        assert [(part.kind, part.count) for part in bar.parts] == [
            (kind, count) for kind, count in enumerate(counts) if count
        ]
        foot = BARS_FOOT
        for part in bar.parts:
            assert abs(part.height - part.count * (BARS_FOOT - BARS_TOP) / most) < 0.1
            assert abs(part.y + part.height - foot) < 0.3
            foot = part.y
        assert bar.top == foot
        assert abs((LINE_FOOT - bar.share) / (LINE_FOOT - LINE_TOP) - counts[0] / sum(counts)) < 0.01


def test_from_right_to_left_the_first_month_is_at_the_right():
    months = [(3, 0, 0), (1, 1, 0)]
    ahead, back = build_chart(months), build_chart(months, mirrored=True)
    assert [bar.x for bar in ahead.bars] == [bar.x for bar in back.bars][::-1]
    assert [bar.all for bar in ahead.bars] == [bar.all for bar in back.bars]


def test_without_a_month_there_is_an_empty_picture():
    assert build_chart([]).bars == ()
