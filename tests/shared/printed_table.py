"""The one table of a printed sheet, read by its rules: which marks stand in which row, in which column.

Nothing here knows how a table is made. What belongs together is told by the lines between which it lies.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise

from printed import Box, Mark, Page

_TIME = re.compile(r"\d\d:\d\d")
_GREY = (234, 234, 234)
_THIN = 2.2  # points, twice as wide as the lines of a table are; those of a frame are thicker


@dataclass(frozen=True)
class PrintedMark:
    """A mark in the table. ``time`` heads its column, None where it stands among words across the columns.

    ``eyes``: the sides that are black in the pair of eyes on its line, None where there is none. ``dose``:
    what is drawn behind it.
    """

    bottle: str
    time: str | None
    eyes: tuple[str, ...] | None
    dose: str | None


@dataclass(frozen=True)
class PrintedRow:
    """``edge``: the side of the table on which a thick bar stands. ``words``: all but the label."""

    label: str
    edge: str | None
    grey: bool
    marks: tuple[PrintedMark, ...]
    words: str

    def at(self, time: str | None) -> list[str]:
        return [mark.bottle for mark in self.marks if mark.time == time]


@dataclass(frozen=True)
class PrintedTable:
    """``times`` as they stand from left to right; ``rows`` from the top."""

    times: tuple[str, ...]
    rows: tuple[PrintedRow, ...]


class _Lines:
    """Rules and walls of the table of a page; walls are the thin lines between its columns."""

    def __init__(self, page: Page) -> None:
        straight = [s for s in page.shapes if s.edge and s.segments == 2]
        self.walls = [s for s in straight if s.width < _THIN and s.height > 10]
        top, bottom = max(w.top for w in self.walls), min(w.bottom for w in self.walls)
        level = [s for s in straight if s.height < _THIN and s.width > 15 and bottom - 2 < s.y < top + 2]
        self.left, self.right = min(s.left for s in level), max(s.right for s in level)
        whole = {round(s.y, 1) for s in level if s.width > 0.98 * (self.right - self.left)}
        self.bands = list(pairwise(sorted(whole, reverse=True)))
        self.bars = [s for s in straight if 3 < s.width < 12 and s.height > 8 and bottom < s.y < top]

    def between_walls(self, of: Box) -> tuple[float, float]:
        """Where the cell in which something lies begins and ends."""
        mine = [w.x for w in self.walls if w.bottom < of.y < w.top]
        left = max((x for x in mine if x < of.x), default=self.left)
        right = min((x for x in mine if x > of.x), default=self.right)
        return round(left), round(right)


def has_table(page: Page) -> bool:
    return any(s.edge and s.segments == 2 and s.width < _THIN and s.height > 10 for s in page.shapes)


def table_on(page: Page, *, from_the_right: bool = False) -> PrintedTable:
    """The table of one page; ``from_the_right``: its first column is the rightmost."""
    lines = _Lines(page)
    ends = [w.x for w in lines.walls]
    label = (max(ends), lines.right) if from_the_right else (lines.left, min(ends))
    times: dict[tuple[float, float], str] = {}
    rows = []
    for top, bottom in lines.bands:
        named = page.within(Box(label[0], bottom, label[1], top))
        if not rows and not named:
            heads = [w for w in page.words if bottom < w.y < top and _TIME.fullmatch(w.text)]
            times = {lines.between_walls(head): head.text for head in sorted(heads, key=lambda w: w.x)}
            continue
        across = (
            Box(lines.left, bottom, label[0], top)
            if from_the_right
            else Box(label[1], bottom, lines.right, top)
        )
        rows.append(
            PrintedRow(
                named,
                _edge(lines, (top + bottom) / 2),
                any(s.fill == _GREY and s.bottom < (top + bottom) / 2 < s.top for s in page.shapes),
                tuple(_marks(page, lines, across, times, from_the_right)),
                page.within(across),
            )
        )
    return PrintedTable(tuple(times.values()), tuple(rows))


def _edge(lines: _Lines, y: float) -> str | None:
    for bar in lines.bars:
        if bar.bottom < y < bar.top:
            sides = {"left": abs(bar.x - lines.left), "right": abs(bar.x - lines.right)}
            side = min(sides, key=lambda s: sides[s])
            return side if sides[side] < 6 else "inside"
    return None


def _marks(
    page: Page, lines: _Lines, across: Box, times: dict[tuple[float, float], str], from_the_right: bool
) -> Iterator[PrintedMark]:
    way = -1 if from_the_right else 1
    for mark in sorted(
        (m for m in page.marks if across.holds(m)), key=lambda m: (-round(m.y / 4), way * m.x)
    ):
        line = page.band(mark)
        eyes = [e for e in page.eyes if line.holds(e) and across.holds(e)]
        time = times.get(lines.between_walls(mark))
        yield PrintedMark(mark.bottle, time, eyes[0].filled if eyes else None, _dose(page, mark, way))


def _dose(page: Page, mark: Mark, way: int) -> str | None:
    """The drop, strip or tablet that follows a mark on its line before any other mark."""
    beside = [m for m in page.marks if abs(m.y - mark.y) < 6]
    near = [
        d for d in page.doses
        if abs(d.y - mark.y) < 6 and 0 < way * (d.x - mark.x) < 40
        and not any(0 < way * (m.x - mark.x) < way * (d.x - mark.x) for m in beside)
    ]  # fmt: skip
    return min(near, key=lambda d: abs(d.x - mark.x)).kind if near else None


def table_box(page: Page) -> Box:
    """Where the table lies on its page."""
    lines = _Lines(page)
    return Box(lines.left, lines.bands[-1][1], lines.right, lines.bands[0][0])


def frames(page: Page) -> list[Box]:
    """The boxes drawn in straight lines round words, the one in the thickest lines first."""
    upright = [s for s in page.shapes if s.edge and s.segments == 2 and s.height > 40 and _THIN < s.width < 6]
    found = {}
    for one, other in combinations(sorted(upright, key=lambda s: s.x), 2):
        if (
            abs(one.top - other.top) < 0.5
            and abs(one.bottom - other.bottom) < 0.5
            and abs(one.width - other.width) < 0.1
        ):
            found[Box(one.x, one.bottom, other.x, one.top)] = one.width
    return sorted(found, key=lambda box: -found[box])
