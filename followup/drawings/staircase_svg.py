"""The staircase as SVG.

Black on white says it all: the steroid filled, other bottles dashed lines, trips hollow, filled, half filled
(only a part was looked at) or crossed. Presentation attributes only, so that the pages' policy lets it
through. Lists draw it on every line, so it is put together here and by no template.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from followup.drawings.staircase import Stair, Staircase, Tick

_DASHES = ("6 3", "2 3", "10 3 2 3", "1 2", "12 4")


@dataclass(frozen=True)
class _Box:
    """In pixels; ``font``: size of the figures on the steps, 0 for none; ``r``: radius of a trip."""

    width: int
    height: int
    foot: int
    head: int
    font: int
    r: int

    @property
    def left(self) -> int:
        return self.r + 1

    @property
    def inner(self) -> int:
        """Width between the margins."""
        return self.width - 2 * self.left

    @property
    def base(self) -> int:
        """Height of the line on which the trips stand, from above."""
        return self.height - self.foot

    def x(self, share: float) -> float:
        return round(self.left + share * self.inner, 1)


_SIZES = {
    "row": _Box(120, 24, 7, 1, 0, 2),
    "card": _Box(320, 80, 14, 14, 11, 4),
    "page": _Box(960, 220, 26, 24, 16, 7),
    "wide": _Box(960, 110, 20, 20, 15, 6),
}


def staircase_svg(model: Staircase, size: str = "row", label: str = "") -> str:
    """``size``: "row", "card", "page" or "wide". ``label``: the words for whoever doesn't see it."""
    box = _SIZES[size]
    read = f'aria-label="{escape(label)}"' if label else 'aria-hidden="true"'
    return (
        f'<svg class="staircase staircase-{size}" viewBox="0 0 {box.width} {box.height}" width="{box.width}"'
        f' height="{box.height}" role="img" {read} xmlns="http://www.w3.org/2000/svg">'
        f"{''.join(_drawn(model, box))}</svg>"
    )


def _drawn(model: Staircase, box: _Box) -> Iterator[str]:
    for stair in model.stairs:
        yield _line(stair, box)
        if box.font and stair.filled:
            yield from _counts(model, stair, box)
    yield (
        f'<line x1="{box.left}" x2="{box.width - box.left}" y1="{box.base}" y2="{box.base}"'
        ' stroke="currentColor" stroke-width="0.75"/>'
    )
    for tick in model.ticks:
        yield _trip(tick, box)
    if model.today is not None:
        x, r = box.x(model.today), box.r
        yield (
            f'<path d="M{x} {box.base + 1}L{x} 1" stroke="currentColor"'
            f' stroke-width="{2 if box.font else 1.5}" fill="none"/>'
            f'<path d="M{x - r} 0L{x + r} 0L{x} {r + 2}Z" fill="currentColor"/>'
        )


def _line(stair: Stair, box: _Box) -> str:
    points = stair.outline(box.left, box.head, box.inner, box.base - box.head)
    fill = "currentColor" if stair.filled and not stair.held else "none"
    dash = "3 3" if stair.held else "" if stair.filled else _DASHES[stair.dash % len(_DASHES)]
    return (
        f'<polyline points="{points}" fill="{fill}" fill-opacity="{0.28 if box.font else 0.5}"'
        f' stroke="currentColor" stroke-width="{1.5 if box.font else 1}"'
        + (f' stroke-dasharray="{dash}"/>' if dash else "/>")
    )


def _counts(model: Staircase, stair: Stair, box: _Box) -> Iterator[str]:
    half = -0.5 if model.mirrored else 0.5
    for tread in stair.treads:
        x = box.x(tread.x + half * tread.days / model.days)
        y = round(box.head + tread.y * (box.base - box.head) - 3, 1)
        yield (
            f'<text x="{x}" y="{y}" font-size="{box.font}" text-anchor="middle" fill="currentColor">'
            f"{tread.count}</text>"
        )


def _trip(tick: Tick, box: _Box) -> str:
    x, y, r = box.x(tick.x), box.base + box.foot / 2, box.r
    if tick.state == "missed":
        return (
            f'<path d="M{x - r} {y - r}L{x + r} {y + r}M{x + r} {y - r}L{x - r} {y + r}"'
            ' stroke="currentColor" stroke-width="1.5" fill="none"/>'
        )
    done = "currentColor" if tick.state == "done" else "none"
    ring = f'<circle cx="{x}" cy="{y}" r="{r}" fill="{done}" stroke="currentColor" stroke-width="1.2"/>'
    if tick.state != "part":
        return ring
    return f'{ring}<path d="M{x - r} {y}A{r} {r} 0 0 0 {x + r} {y}Z" fill="currentColor"/>'
