"""Shares on one scale: each where it belongs, none outside, read either way."""

from __future__ import annotations

from dataclasses import dataclass

from followup.drawings.intervals import WIDTH, IntervalMark, IntervalPlot, build_intervals


@dataclass(frozen=True)
class _Told:
    percent: float | None
    low: float | None = 0
    high: float | None = 100


def test_the_scale_ends_where_all_fit_and_a_share_lies_at_its_percentage():
    plot = build_intervals([_Told(2, 1, 4), None, _Told(10, 5, 20), _Told(None)])
    assert plot == IntervalPlot(20, (IntervalMark(6, 12, 24), None, IntervalMark(30, 60, WIDTH), None))
    assert build_intervals([_Told(10, 5, 20.1)]).most == 50


def test_from_right_to_left_the_scale_begins_at_the_right():
    (mark,) = build_intervals([_Told(2, 1, 4)], mirrored=True).marks
    assert mark == IntervalMark(WIDTH - 24, WIDTH - 48, WIDTH - 96)


def test_where_nothing_is_told_there_is_no_scale():
    assert build_intervals([None, _Told(None)]) == IntervalPlot(0, (None, None))
