"""Visits by month as stacked bars, and how many of them were seen in time as a line over them.

Pure geometry in pixels: the picture is never made smaller, so that its letters stay as large as they are set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

COLUMN, BAR = 54, 34
LINE_TOP, LINE_FOOT = 22, 74
BARS_TOP, BARS_FOOT = 104, 224
HEIGHT = 246


@dataclass(frozen=True)
class BarPart:
    """A piece of a bar: 0 in time, 1 late, 2 not seen."""

    kind: int
    y: float
    height: float
    count: int


@dataclass(frozen=True)
class MonthBar:
    """One month. ``x``: its middle; ``top``: of the bar; ``share``: where the line of "in time" passes."""

    x: float
    top: float
    share: float
    all: int
    parts: tuple[BarPart, ...]


@dataclass(frozen=True)
class OutcomeChart:
    """The bars in the order of the months; in a page from right to left the first is at the right."""

    width: int
    bars: tuple[MonthBar, ...]


def build_chart(months: Sequence[tuple[int, int, int]], mirrored: bool = False) -> OutcomeChart:
    """``months``: visits seen in time, late and not at all; a month without any is none of the chart's."""
    most = max((sum(counts) for counts in months), default=1)
    places = [COLUMN * (i + 0.5) for i in range(len(months))]
    bars = [
        _bar(x, counts, most) for x, counts in zip(places[::-1] if mirrored else places, months, strict=True)
    ]
    return OutcomeChart(COLUMN * len(months), tuple(bars))


def _bar(x: float, counts: tuple[int, int, int], most: int) -> MonthBar:
    unit = (BARS_FOOT - BARS_TOP) / most
    parts, y = [], float(BARS_FOOT)
    for kind, count in enumerate(counts):
        y -= count * unit
        if count:
            parts.append(BarPart(kind, round(y, 1), round(count * unit, 1), count))
    share = LINE_FOOT - (LINE_FOOT - LINE_TOP) * counts[0] / sum(counts)
    return MonthBar(x, round(y, 1), round(share, 1), sum(counts), tuple(parts))
