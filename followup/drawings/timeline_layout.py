"""Where everything of a time line stands: bands one under the other, labels in lanes that never meet."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from math import sqrt

from followup.clinical.protocol.reviews import GRADES
from followup.drawings.shapes import Bar, DrawnMark, Path, Shape, Text, mirrored, text_width
from followup.drawings.timeline import NOT_SEEN, DrawnCourse, LookMark, Stretch, Timeline
from followup.drawings.timeline_words import TimelineWords

WIDTH = 760.0
_LEAST_LEFT, _RIGHT = 132.0, WIDTH - 18
_SCALE = 34.0
_GAP = 14.0
_LANE = 14.0
_DROPS, _CELLS, _PRESSURE = 104.0, 56.0, 84.0
PRESSURE_LIMITS = (22, 30)
_TOP_PRESSURE = 42.0
_WIDEST_LABEL = 180.0


class Layout:
    """Lays a time line out from top to bottom; ``height`` is known when it is done."""

    def __init__(self, line: Timeline, words: TimelineWords) -> None:
        self.line = line
        self.words = words
        self.names = _names(words)
        # Wide enough for the longest name of a band, whatever the language.
        widest = max(text_width(words.isolated(name), 11) for name in self.names.values())
        self.left = max(_LEAST_LEFT, widest + _SCALE + 4)
        self.shapes: list[Shape] = []
        self.a_day = (_RIGHT - self.left) / line.days
        self.y = 0.0
        self.bands: list[tuple[float, float]] = []
        self._head()
        top = self.y
        self._drops()
        for bottle in line.bottles:
            self._bottle(bottle)
        if line.looks:
            self._cells()
            self._values("flare", lambda look: look.flare)
            self._pressure()
            self._values("mmHg", lambda look: look.pressure_word)
            self._values("vision", lambda look: look.vision)
        self._visits()
        self._today(top)
        self._axis()
        self.height = round(self.y + 8)
        if words.rtl:
            self.shapes = [mirrored(shape, WIDTH) for shape in self.shapes]

    def x(self, day: float) -> float:
        """The left edge of a day."""
        return self.left + day * self.a_day

    def middle(self, day: int) -> float:
        return self.x(day + 0.5)

    def _add(self, *shapes: Shape) -> None:
        self.shapes += shapes

    def _name(self, name: str, y: float) -> None:
        self._add(Text(self.left - _SCALE, y, self.words.isolated(self.names[name]), 11, "end"))

    def _scale(self, label: str, y: float, dash: str = "1 3") -> None:
        """A thin line across the band with its value at the edge."""
        self._add(
            Path(((self.left, y), (_RIGHT, y)), 0.6, dash), Text(self.left - 5, y + 3.5, label, 10, "end")
        )

    def _head(self) -> None:
        _, line = self.words.gettext, self.line
        begun = _("Right eye, day 0 is {day}") if line.eye == "right" else _("Left eye, day 0 is {day}")
        told = [_("Filled: steroid drops a day.")]
        if line.planned:
            told.append(_("Dashed: as first planned."))
        if line.steroid_held:
            told.append(_("The steroid is held by a question."))
        told.append(_("Visits: hollow to come, filled done, crossed missed."))
        self.y = 4
        self._lines(begun.format(day=self.words.day(line.day0)), 13, bold=True)
        self._lines(" ".join(told), 11)
        self.y += 26

    def _lines(self, text: str, size: float, *, bold: bool = False) -> None:
        """A text in as many lines as it takes."""
        for words in _wrapped(text, size, WIDTH - 24):
            self.y += size + 3
            self._add(Text(4, self.y, self.words.isolated(words), size, bold=bold))

    def _drops(self) -> None:
        foot = self.y + 12 + _DROPS
        most = max((s.count for s in (*self.line.steroid, *self.line.planned)), default=1)

        def level(count: int) -> float:
            # The square root keeps one drop a day visible beside sixteen.
            return foot - _DROPS * sqrt(count / most)

        for run in _runs(self.line.steroid):
            points = self._outline(run, level, foot)
            self._add(Path(points, 1.4, "3 3" if self.line.steroid_held else "", not self.line.steroid_held))
        for run in _runs(self.line.planned):
            self._add(Path(self._outline(run, level, foot), 1.2, "6 3"))
        self._add(Path(((self.left, foot), (_RIGHT, foot)), 0.8))
        for stretch in self.line.steroid:
            label = Text(
                (self.x(stretch.start) + self.x(stretch.end + 1)) / 2,
                level(stretch.count) - 3,
                str(stretch.count),
                11,
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

    def _bottle(self, bottle: DrawnCourse) -> None:
        counts = list(dict.fromkeys(s.count for s in bottle.stretches))
        many = ", ".join(str(count) for count in counts)
        _ = self.words.gettext
        told = _("{medicine}: {counts} a day, held") if bottle.held else _("{medicine}: {counts} a day")
        words = self.words.isolated(told.format(medicine=bottle.name, counts=many))
        start = self._inside(self.x(bottle.stretches[0].start), words, 10)
        self._add(Text(start, self.y + 8, words, 10))
        for stretch in bottle.stretches:
            width = self.x(stretch.end + 1) - self.x(stretch.start)
            shade = 0.35 + 0.4 * stretch.count / max(counts)
            self._add(Bar(self.x(stretch.start), self.y + 12, width, 6, shade, bottle.held))
        self.y += 26

    def _cells(self) -> None:
        self.y += 6
        foot = self.y + _CELLS
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
        self._add(Path(((self.left, foot), (_RIGHT, foot)), 0.8))
        self._name("cells", foot - _CELLS / 2 + 4)
        self.bands.append((foot - _CELLS, foot))
        self.y = foot + 4
        if any(look.cells is None for look in self.line.looks):
            self._values("cells not seen", lambda look: NOT_SEEN if look.cells is None else "")

    def _pressure(self) -> None:
        self.y += 8
        measured = [look.pressure for look in self.line.looks if look.pressure is not None]
        most = max([_TOP_PRESSURE, *(mmhg + 4 for mmhg in measured)])
        # High enough that the limits' own labels stand clear of each other.
        tall = max(_PRESSURE, 11 * most / (PRESSURE_LIMITS[1] - PRESSURE_LIMITS[0]))
        foot = self.y + tall

        def level(mmhg: float) -> float:
            return foot - tall * mmhg / most

        for limit in PRESSURE_LIMITS:
            self._scale(str(limit), level(limit), "4 2")
        seen = [
            (self.middle(look.day), level(look.pressure))
            for look in self.line.looks
            if look.pressure is not None
        ]
        if len(seen) > 1:
            self._add(Path(tuple(seen), 1.4))
        r = min(3.0, max(1.2, self.a_day * 0.4))
        self._add(*(DrawnMark(x, y, r, "filled") for x, y in seen))
        self._add(Path(((self.left, foot), (_RIGHT, foot)), 0.8))
        self._name("pressure", foot - tall / 2 - 8)
        self.bands.append((foot - tall, foot))
        self.y = foot + 4

    def _values(self, name: str, word: Callable[[LookMark], str]) -> None:
        """One word a look, in as many lanes as it takes that no two meet."""
        labels = [(look.day, word(look)) for look in self.line.looks if word(look)]
        placed = list(self._laned(labels, 10))
        self._name(name, self.y + 10)
        for lane, x, text in placed:
            self._add(Text(x, self.y + 10 + lane * _LANE, text, 10, "middle"))
        self.y += _LANE * (1 + max(lane for lane, _, _ in placed)) + 2

    def _laned(self, labels: Iterable[tuple[int, str]], size: float) -> Iterator[tuple[int, float, str]]:
        ends: list[float] = []
        for day, told in labels:
            text = _short(told, size)
            width = text_width(text, size)
            x = min(max(self.middle(day), self.left + width / 2), _RIGHT - width / 2)
            lane = next((i for i, end in enumerate(ends) if end + 3 <= x - width / 2), len(ends))
            if lane == len(ends):
                ends.append(0.0)
            ends[lane] = x + width / 2
            yield lane, x, text

    def _inside(self, x: float, text: str, size: float) -> float:
        """Where a text that begins at ``x`` must begin to end inside the drawing."""
        return max(4.0, min(x, WIDTH - 4 - text_width(text, size)))

    def _visits(self) -> None:
        self.y += 8
        r = min(5.0, max(1.5, self.a_day * 0.45))
        kinds = {"to come": "hollow", "done": "filled", "missed": "crossed"}
        for visit in self.line.visits:
            self._add(DrawnMark(self.middle(visit.day), self.y + 6, r, kinds[visit.state]))  # type: ignore[arg-type]
        self._name("visits", self.y + 10)
        self.y += 16
        placed = list(self._laned([(v.day, str(v.day)) for v in self.line.visits], 10))
        for lane, x, text in placed:
            self._add(Text(x, self.y + 10 + lane * _LANE, text, 10, "middle"))
        self._name("on day", self.y + 10)
        self.y += _LANE * (1 + max((lane for lane, _, _ in placed), default=0)) + 4

    def _today(self, top: float) -> None:
        day = self.line.today
        if not 0 <= day <= self.line.last:
            return
        x = self.middle(day)
        words = self.words.isolated(self.words.gettext("day {day}, today").format(day=day))
        width = text_width(words, 10)
        at = min(max(x, self.left + width / 2), _RIGHT - width / 2)
        self._add(Text(at, top - 4, words, 10, "middle"))
        for start, foot in self.bands:
            self._add(Path(((x, start), (x, foot)), 1, "2 3"))

    def _axis(self) -> None:
        y = self.y + 4
        self._add(Path(((self.left, y), (_RIGHT, y)), 0.8))
        step = next(s for s in (1, 2, 7, 14, 28, 56, 112) if s * self.a_day >= 30)
        for day in range(0, self.line.days, step):
            x = self.middle(day)
            self._add(Path(((x, y), (x, y + 4)), 0.8), Text(x, y + 15, str(day), 10, "middle"))
        self._name("day", y + 15)
        first, last = (self.words.day(self.line.date(each)) for each in (0, self.line.last))
        self._add(
            Text(self.left, y + 30, self.words.isolated(first), 10),
            Text(_RIGHT, y + 30, self.words.isolated(last), 10, "end"),
        )
        self.y = y + 34


def _names(words: TimelineWords) -> dict[str, str]:
    """The names of the bands, by what they are called here."""
    _ = words.gettext
    return {
        "drops a day": _("drops a day"),
        "cells": _("cells"),
        "cells not seen": _("cells not seen"),
        "flare": _("flare"),
        "pressure": _("pressure"),
        "mmHg": _("mmHg"),
        "vision": _("vision"),
        "visits": _("visits"),
        "on day": _("on day"),
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


def _short(text: str, size: float) -> str:
    """A text that a label can bear; the table beside the drawing has it whole."""
    most = int(_WIDEST_LABEL / text_width("0", size))
    return text if len(text) <= most else text[: most - 1] + "…"


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
