"""Shares with their intervals, one under the other on one scale: a line from end to end, a dot where it is.

Pure geometry in pixels along ``WIDTH``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

WIDTH, HEIGHT = 120, 18
SCALES = (5, 10, 20, 50, 100)
"""Where the scale may end, in percent."""


class DrawnShare(Protocol):
    """A share in percent between its ends; None where it is not told."""

    @property
    def percent(self) -> float | None: ...
    @property
    def low(self) -> float | None: ...
    @property
    def high(self) -> float | None: ...


@dataclass(frozen=True)
class IntervalMark:
    """Where a share and the ends of its interval lie."""

    low: float
    at: float
    high: float


@dataclass(frozen=True)
class IntervalPlot:
    """The marks in the order of the rows, None where nothing is drawn. ``most``: percent at the scale's end;
    0 where no row is drawn. In a page from right to left the scale begins at the right."""

    most: int
    marks: tuple[IntervalMark | None, ...]


def build_intervals(rows: Sequence[DrawnShare | None], mirrored: bool = False) -> IntervalPlot:
    """The rows on one scale, which ends at the least of ``SCALES`` that holds them all."""
    told = [_numbers(row) for row in rows]
    highest = max((ends[2] for ends in told if ends), default=None)
    if highest is None:
        return IntervalPlot(0, (None,) * len(rows))
    most = next(scale for scale in SCALES if highest <= scale or scale == SCALES[-1])
    return IntervalPlot(most, tuple(_mark(ends, most, mirrored) if ends else None for ends in told))


def _numbers(row: DrawnShare | None) -> tuple[float, float, float] | None:
    if row is None or row.percent is None or row.low is None or row.high is None:
        return None
    return row.low, row.percent, row.high


def _mark(ends: tuple[float, float, float], most: int, mirrored: bool) -> IntervalMark:
    places = [round(WIDTH * value / most, 1) for value in ends]
    return IntervalMark(*(WIDTH - x for x in places)) if mirrored else IntervalMark(*places)
