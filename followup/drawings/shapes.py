"""A few shapes and how they are written as SVG; presentation attributes only, no style, no script."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from html import escape
from typing import Literal

Anchor = Literal["start", "middle", "end"]
_WIDEST = 0.62
"""Width of a character as a share of the font size: no digit or Latin letter of a plain sans is wider on
average (measured over the labels in use)."""


@dataclass(frozen=True)
class Box:
    """Edges of something drawn."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


def text_width(text: str, size: float) -> float:
    return len(text) * size * _WIDEST


@dataclass(frozen=True)
class Text:
    x: float
    y: float
    text: str
    size: float = 11
    anchor: Anchor = "start"
    bold: bool = False

    @property
    def box(self) -> Box:
        """From the top of the capitals to the foot of the letters."""
        width = text_width(self.text, self.size)
        left = self.x - {"start": 0.0, "middle": width / 2, "end": width}[self.anchor]
        return Box(left, self.y - 0.8 * self.size, left + width, self.y + 0.22 * self.size)

    def svg(self) -> str:
        weight = ' font-weight="bold"' if self.bold else ""
        return (
            f'<text x="{self.x:.1f}" y="{self.y:.1f}" font-size="{self.size:g}" text-anchor="{self.anchor}"'
            f'{weight} fill="currentColor">{escape(self.text)}</text>'
        )


@dataclass(frozen=True)
class Bar:
    """A filled rectangle; ``hollow`` draws its edge only, in dashes."""

    x: float
    y: float
    width: float
    height: float
    opacity: float = 1
    hollow: bool = False

    @property
    def box(self) -> Box:
        return Box(self.x, self.y, self.x + self.width, self.y + self.height)

    def svg(self) -> str:
        paint = (
            'fill="none" stroke="currentColor" stroke-dasharray="3 2"'
            if self.hollow
            else f'fill="currentColor" fill-opacity="{self.opacity:g}"'
        )
        place = f'x="{self.x:.1f}" y="{self.y:.1f}" width="{self.width:.1f}" height="{self.height:.1f}"'
        return f"<rect {place} {paint}/>"


@dataclass(frozen=True)
class Path:
    """A line through points; ``closed`` fills the shape lightly, ``dash`` breaks the line."""

    points: tuple[tuple[float, float], ...]
    width: float
    dash: str = ""
    closed: bool = False

    @property
    def box(self) -> Box:
        xs, ys = zip(*self.points, strict=True)
        return Box(min(xs), min(ys), max(xs), max(ys))

    def svg(self) -> str:
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in self.points)
        fill = 'fill="currentColor" fill-opacity="0.25"' if self.closed else 'fill="none"'
        dash = f' stroke-dasharray="{self.dash}"' if self.dash else ""
        return (
            f'<polyline points="{points}" {fill} stroke="currentColor" stroke-width="{self.width:g}"{dash}/>'
        )


@dataclass(frozen=True)
class DrawnMark:
    """A visit or a measurement: hollow, filled or crossed."""

    x: float
    y: float
    r: float
    kind: Literal["hollow", "filled", "crossed"]

    @property
    def box(self) -> Box:
        return Box(self.x - self.r, self.y - self.r, self.x + self.r, self.y + self.r)

    def svg(self) -> str:
        x, y, r = self.x, self.y, self.r
        if self.kind == "crossed":
            left, right, top, foot = (f"{edge:.1f}" for edge in (x - r, x + r, y - r, y + r))
            cross = f"M{left} {top}L{right} {foot}M{right} {top}L{left} {foot}"
            return f'<path d="{cross}" stroke="currentColor" stroke-width="1.5" fill="none"/>'
        fill = "currentColor" if self.kind == "filled" else "none"
        place = f'cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}"'
        return f'<circle {place} fill="{fill}" stroke="currentColor" stroke-width="1.2"/>'


Shape = Text | Bar | Path | DrawnMark


def mirrored(shape: Shape, width: float) -> Shape:
    """The shape in a drawing of that width in which time runs from right to left; its text stays as it is."""
    if isinstance(shape, Path):
        return replace(shape, points=tuple((width - x, y) for x, y in shape.points))
    if isinstance(shape, Bar):
        return replace(shape, x=width - shape.x - shape.width)
    if isinstance(shape, DrawnMark):
        return replace(shape, x=width - shape.x)
    turned: dict[Anchor, Anchor] = {"start": "end", "middle": "middle", "end": "start"}
    return replace(shape, x=width - shape.x, anchor=turned[shape.anchor])


def drawing(
    shapes: Iterable[Shape], *, width: float, height: float, id_: str, title: str, description: str
) -> str:
    """One picture with its name and description for people who don't see it."""
    inner = "\n".join(shape.svg() for shape in shapes)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}" '
        f'height="{height:g}" role="img" aria-labelledby="{id_}-title {id_}-desc" '
        f'font-family="sans-serif" color="#23201d" direction="ltr">\n'
        f'<title id="{id_}-title">{escape(title)}</title>\n'
        f'<desc id="{id_}-desc">{escape(description)}</desc>\n'
        f"{inner}\n</svg>"
    )
