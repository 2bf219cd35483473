"""Where everything of a time line stands: bands one under the other, labels in lanes that never meet."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import pairwise

from followup.clinical.protocol.reviews import GRADES
from followup.drawings.shapes import Bar, DrawnMark, Path, Shape, Text, mirrored, text_width
from followup.drawings.timeline import NOT_SEEN, DrawnCourse, LookMark, Stretch, Timeline
from followup.drawings.timeline_words import TimelineWords

WIDTH = 920.0
HALF = 620.0
"""The width of a drawing with something of its own size beside it."""
NARROW = 358.0
"""The width of a drawing on a telephone: shown as wide as it is drawn, no letter is under 11 px there."""
_LEAST_LEFT, _EDGE = 132.0, 18.0
_SCALE = 34.0
_GAP = 10.0
_LANE = 14.0
_SMALL = 11.0
_DROPS, _CELLS, _PRESSURE = 56.0, 60.0, 60.0
PRESSURE_LIMITS = (10, 21, 30)
_TOP_PRESSURE = 42.0
_WIDEST_LABEL = 180.0


class Layout:
    """Lays a time line out from top to bottom; ``height`` is known when it is done.

    ``width`` under 500: the names stand over their bands and not beside them. ``titled``: eye and day 0
    are told on top.
    """

    def __init__(
        self, line: Timeline, words: TimelineWords, *, width: float = WIDTH, titled: bool = True
    ) -> None:
        self.line = line
        self.words = words
        self.width, self.right = width, width - _EDGE
        self.beside = width >= 500
        self.widest_name = 0.33 * width if self.beside else width - 8
        self.names = {
            name: words.isolated(_short(told, _SMALL, self.widest_name))
            for name, told in _names(words).items()
        }
        self.left = _SCALE + 4
        if self.beside:
            # Wide enough for the longest name, whatever the language.
            named = [*self.names.values(), *(self._told(bottle) for bottle in line.bottles)]
            widest = max(text_width(name, _SMALL) for name in named)
            self.left = max(_LEAST_LEFT, widest + _SCALE + 4)
        self.shapes: list[Shape] = []
        self.a_day = (self.right - self.left) / line.days
        self.y = 0.0
        self.bands: list[tuple[float, float]] = []
        self._head(titled)
        top = self.y
        self._drops()
        for bottle in line.bottles:
            self._bottle(bottle)
        if line.looks:
            self._cells()
            self._pressure()
            self._values("mmHg", lambda look: look.pressure_word)
            self._values("vision", lambda look: look.vision)
        self._visits()
        self._decided()
        self._today(top)
        self._axis()
        self.height = round(self.y + 6)
        if words.rtl:
            self.shapes = [mirrored(shape, width) for shape in self.shapes]

    def x(self, day: float) -> float:
        """The left edge of a day."""
        return self.left + day * self.a_day

    def middle(self, day: int) -> float:
        return self.x(day + 0.5)

    def _add(self, *shapes: Shape) -> None:
        self.shapes += shapes

    def _over(self, name: str) -> None:
        """The name of the band that comes, where names stand over their bands."""
        if not self.beside:
            self._add(Text(4, self.y + 11, self.names[name], _SMALL))
            self.y += 16

    def _name(self, name: str, y: float) -> None:
        """The name of the band, where names stand beside them."""
        if self.beside:
            self._add(Text(self.left - _SCALE, y, self.names[name], _SMALL, "end"))

    def _scale(self, label: str, y: float, dash: str = "1 3") -> None:
        """A thin line across the band with its value at the edge."""
        self._add(
            Path(((self.left, y), (self.right, y)), 0.6, dash),
            Text(self.left - 5, y + 3.5, label, _SMALL, "end"),
        )

    def _head(self, titled: bool) -> None:
        _, line = self.words.gettext, self.line
        begun = _("Right eye, day 0 is {day}") if line.eye == "right" else _("Left eye, day 0 is {day}")
        told = [_("Filled: steroid drops a day.")]
        if line.planned:
            told.append(_("Dashed: as first planned."))
        if line.steroid_held:
            told.append(_("The steroid is held by a question."))
        if line.expected and line.looks:
            told.append(_("Dashed over the cells: the most that are expected."))
        told.append(_("Visits: hollow to come, filled done, crossed missed."))
        self.y = 2
        if titled:
            self._lines(begun.format(day=self.words.day(line.day0)), 13, bold=True)
        self._lines(" ".join(told), _SMALL)
        self.y += 22

    def _lines(self, text: str, size: float, *, bold: bool = False) -> None:
        """A text in as many lines as it takes."""
        for words in _wrapped(text, size, self.width - 24):
            self.y += size + 3
            self._add(Text(4, self.y, self.words.isolated(words), size, bold=bold))

    def _drops(self) -> None:
        self._over("drops a day")
        foot = self.y + 12 + _DROPS
        most = max((s.count for s in (*self.line.steroid, *self.line.planned)), default=1)

        def level(count: int) -> float:
            return foot - _DROPS * count / most

        for run in _runs(self.line.steroid):
            points = self._outline(run, level, foot)
            self._add(Path(points, 1.4, "3 3" if self.line.steroid_held else "", not self.line.steroid_held))
        for run in _runs(self.line.planned):
            self._add(Path(self._outline(run, level, foot), 1.2, "6 3"))
        self._add(Path(((self.left, foot), (self.right, foot)), 0.8))
        for stretch in self.line.steroid:
            label = Text(
                (self.x(stretch.start) + self.x(stretch.end + 1)) / 2,
                level(stretch.count) - 3,
                str(stretch.count),
                _SMALL,
                "middle",
            )
            if text_width(label.text, label.size) <= self.x(stretch.end + 1) - self.x(stretch.start):
                self._add(label)
        self._name("drops a day", foot - _DROPS / 2)
        self.bands.append((foot - _DROPS - 12, foot))
        self.y = foot + _GAP

    def _outline(
        self, run: Sequence[Stretch], level: Callable[[int], float], foot: float
    ) -> tuple[tuple[float, float], ...]:
        points = [(self.x(run[0].start), foot)]
        for stretch in run:
            points += [
                (self.x(stretch.start), level(stretch.count)),
                (self.x(stretch.end + 1), level(stretch.count)),
            ]
        return (*points, (self.x(run[-1].end + 1), foot))

    def _told(self, bottle: DrawnCourse) -> str:
        counts = list(dict.fromkeys(s.count for s in bottle.stretches))
        _ = self.words.gettext
        told = _("{medicine}: {counts} a day, held") if bottle.held else _("{medicine}: {counts} a day")
        said = ", ".join(str(count) for count in counts)
        # A name may be cut, a count never.
        over = len(told.format(medicine=bottle.name, counts=said)) - _most(_SMALL, self.widest_name)
        name = bottle.name if over <= 0 else bottle.name[: -over - 1].rstrip() + "…"
        return self.words.isolated(told.format(medicine=name, counts=said))

    def _bottle(self, bottle: DrawnCourse) -> None:
        words = self._told(bottle)
        most = max(s.count for s in bottle.stretches)
        if self.beside:
            self._add(Text(self.left - _SCALE, self.y + 10, words, _SMALL, "end"))
        else:
            self._add(Text(4, self.y + 10, words, _SMALL))
            self.y += 12
        for stretch in bottle.stretches:
            # A hair less, so that two stretches that follow each other never overlap.
            width = self.x(stretch.end + 1) - self.x(stretch.start) - 0.01
            shade = 0.35 + 0.4 * stretch.count / most
            self._add(Bar(self.x(stretch.start), self.y + 3, width, 6, shade, bottle.held))
        self.y += 15

    def _cells(self) -> None:
        self.y += 4
        self._over("cells")
        foot = self.y + 4 + _CELLS
        step = _CELLS / (len(GRADES) - 1)
        for place, grade in enumerate(GRADES):
            if grade in ("1+", "2+", "3+", "4+"):
                self._scale(grade, foot - place * step)
        width = min(9.0, self.a_day * 0.8)
        for look in self.line.looks:
            x = self.middle(look.day)
            if look.cells is None:
                continue
            height = max(look.cells * step, 1.5)
            self._add(Bar(x - width / 2, foot - height, width, height, 0.8))
        if expected := tuple(self._expected(foot, step)):
            self._add(Path(expected, 1.4, "5 2"))
        self._add(Path(((self.left, foot), (self.right, foot)), 0.8))
        self._name("cells", foot - _CELLS / 2 + 4)
        self.bands.append((foot - _CELLS, foot))
        self.y = foot + 2
        if any(look.cells is None for look in self.line.looks):
            self._values("cells not seen", lambda look: NOT_SEEN if look.cells is None else "")

    def _expected(self, foot: float, step: float) -> Iterator[tuple[float, float]]:
        """The most cells expected, day by day, as steps."""
        rows = self.line.expected
        for place, (day, grade) in enumerate(rows, 1):
            end = rows[place][0] if place < len(rows) else self.line.days
            yield self.x(day), foot - grade * step
            yield self.x(end), foot - grade * step

    def _pressure(self) -> None:
        self.y += 4
        self._over("pressure")
        measured = [look.pressure for look in self.line.looks if look.pressure is not None]
        before = self.line.before
        most = max([_TOP_PRESSURE, *(mmhg + 4 for mmhg in measured), *([before + 4] if before else [])])
        # High enough that the limits' own labels stand clear of each other.
        nearest = min(high - low for low, high in pairwise(PRESSURE_LIMITS))
        tall = max(_PRESSURE, 11.5 * most / nearest)
        foot = self.y + 4 + tall

        def level(mmhg: float) -> float:
            return foot - tall * mmhg / most

        for limit in PRESSURE_LIMITS:
            self._scale(str(limit), level(limit), "4 2")
        if before is not None:
            told = self.words.gettext("before surgery {mmhg}").format(mmhg=f"{before:g}")
            self._add(Path(((self.left, level(before)), (self.right, level(before))), 1, "1 2"))
            self._add(Text(self.right, level(before) - 2, self.words.isolated(told), _SMALL, "end"))
        seen = [
            (self.middle(look.day), level(look.pressure))
            for look in self.line.looks
            if look.pressure is not None
        ]
        if len(seen) > 1:
            self._add(Path(tuple(seen), 1.4))
        r = min(3.0, max(1.2, self.a_day * 0.4))
        self._add(*(DrawnMark(x, y, r, "filled") for x, y in seen))
        self._add(Path(((self.left, foot), (self.right, foot)), 0.8))
        self._name("pressure", foot - tall / 2 + 4)
        self.bands.append((foot - tall, foot))
        self.y = foot + 2

    def _values(self, name: str, word: Callable[[LookMark], str]) -> None:
        """One word a look, in as many lanes as it takes that no two meet."""
        labels = [(look.day, word(look)) for look in self.line.looks if word(look)]
        self._over(name)
        placed = list(self._laned(labels, _SMALL))
        self._name(name, self.y + 10)
        for lane, x, text in placed:
            self._add(Text(x, self.y + 10 + lane * _LANE, text, _SMALL, "middle"))
        self.y += _LANE * (1 + max(lane for lane, _, _ in placed)) + 1

    def _laned(self, labels: Iterable[tuple[int, str]], size: float) -> Iterator[tuple[int, float, str]]:
        ends: list[float] = []
        for day, told in labels:
            text = _short(told, size)
            width = text_width(text, size)
            x = min(max(self.middle(day), self.left + width / 2), self.right - width / 2)
            lane = next((i for i, end in enumerate(ends) if end + 3 <= x - width / 2), len(ends))
            if lane == len(ends):
                ends.append(0.0)
            ends[lane] = x + width / 2
            yield lane, x, text

    def _visits(self) -> None:
        self.y += 4
        self._over("visits")
        r = min(5.0, max(1.5, self.a_day * 0.45))
        kinds = {"to come": "hollow", "done": "filled", "missed": "crossed"}
        for visit in self.line.visits:
            self._add(DrawnMark(self.middle(visit.day), self.y + 6, r, kinds[visit.state]))  # type: ignore[arg-type]
        self._name("visits", self.y + 10)
        self.y += 13
        told = [
            (v.day, self.words.isolated(self.words.dated(self.line.date(v.day)))) for v in self.line.visits
        ]
        placed = list(self._laned(told, _SMALL))
        for lane, x, text in placed:
            self._add(Text(x, self.y + 10 + lane * _LANE, text, _SMALL, "middle"))
        self.y += _LANE * (1 + max((lane for lane, _, _ in placed), default=0)) + 1

    def _decided(self) -> None:
        if not self.line.decided:
            return
        self._over("decided")
        r = min(4.0, max(1.5, self.a_day * 0.4))
        self._add(*(DrawnMark(self.middle(day), self.y + 6, r, "filled") for day in self.line.decided))
        self._name("decided", self.y + 10)
        self.y += 14

    def _today(self, top: float) -> None:
        day = self.line.today
        if not 0 <= day <= self.line.last:
            return
        x = self.middle(day)
        words = self.words.isolated(self.words.gettext("day {day}, today").format(day=day))
        width = text_width(words, _SMALL)
        at = min(max(x, self.left + width / 2), self.right - width / 2)
        self._add(Text(at, top - 6, words, _SMALL, "middle"))
        for start, foot in self.bands:
            self._add(Path(((x, start), (x, foot)), 1, "2 3"))

    def _axis(self) -> None:
        y = self.y + 2
        self._add(Path(((self.left, y), (self.right, y)), 0.8))
        step = next(s for s in (1, 2, 7, 14, 28, 56, 112) if s * self.a_day >= 30)
        for day in range(0, self.line.days, step):
            x = self.middle(day)
            self._add(Path(((x, y), (x, y + 4)), 0.8), Text(x, y + 15, str(day), _SMALL, "middle"))
        if self.beside:
            self._name("day", y + 15)
        else:
            self._add(Text(4, y + 30, self.names["day"], _SMALL))
            y += 15
        self.y = y + 18


def _names(words: TimelineWords) -> dict[str, str]:
    """The names of the bands, by what they are called here."""
    _ = words.gettext
    return {
        "drops a day": _("drops a day"),
        "cells": _("cells"),
        "cells not seen": _("cells not seen"),
        "pressure": _("pressure"),
        "mmHg": _("mmHg"),
        "vision": _("vision"),
        "visits": _("visits"),
        "decided": _("decided"),
        "day": _("day"),
    }


def _wrapped(text: str, size: float, width: float) -> Iterator[str]:
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and text_width(longer, size) > width:
            yield line
            longer = word
        line = longer
    yield line


def _short(text: str, size: float, widest: float = _WIDEST_LABEL) -> str:
    """A text that a label can bear; the table beside the drawing has it whole."""
    most = _most(size, widest)
    return text if len(text) <= most else text[: most - 1] + "…"


def _most(size: float, widest: float) -> int:
    """How many letters a label can bear."""
    return int(widest / text_width("0", size))


def _runs(stretches: Sequence[Stretch]) -> Iterator[list[Stretch]]:
    """Stretches that follow each other without a pause, drawn as one shape."""
    run: list[Stretch] = []
    for stretch in stretches:
        if run and run[-1].end + 1 != stretch.start:
            yield run
            run = []
        run.append(stretch)
    if run:
        yield run
