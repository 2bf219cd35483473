"""A printed page read as a drawing: which shapes lie where, in which colour, and which letters in them.

Nothing here knows how a sheet is made. It takes the objects of a PDF as a viewer would paint them.
"""

from __future__ import annotations

import ctypes
import re
import unicodedata
from collections import Counter
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

import pypdfium2
import pypdfium2.raw as raw
import typst

INK, WHITE = (35, 32, 29), (255, 255, 255)
_CURVED, _RECTANGLE = 13, 5  # segments of a closed path: four curves drawn in thirds, four lines
_MARKS = re.compile("[\u200e\u200f\u061c\u2066-\u2069\u202a-\u202e]")


@dataclass(frozen=True)
class Box:
    left: float
    bottom: float
    right: float
    top: float

    @property
    def x(self) -> float:
        return (self.left + self.right) / 2

    @property
    def y(self) -> float:
        return (self.bottom + self.top) / 2

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.top - self.bottom

    def holds(self, other: Box) -> bool:
        return self.left < other.x < self.right and self.bottom < other.y < self.top


@dataclass(frozen=True)
class Shape(Box):
    fill: tuple[int, int, int] | None = None
    edge: bool = False
    segments: int = 0


@dataclass(frozen=True)
class Word(Box):
    text: str = ""


@dataclass(frozen=True)
class Eyes(Box):
    """Two eyes drawn side by side; ``filled`` names the sides of the picture that are black.

    ``face`` is the outline round them, None where the two are drawn alone.
    """

    filled: tuple[str, ...] = ()
    face: Shape | None = None


@dataclass(frozen=True)
class Mark(Box):
    """A letter in its box, which is black or white, round or square, or between two lines."""

    letter: str = ""
    form: str = ""

    @property
    def bottle(self) -> str:
        return bottle_of(self.letter, self.form)


@dataclass(frozen=True)
class Dose(Box):
    kind: str = ""


_SIDES = {"square": "r", "round": "l", "between lines": ""}


def bottle_of(letter: str, form: str) -> str:
    """The letter and r for a right eye's mark, l for a left eye's, as its shape says.

    None but the steroid drop's S is filled, and that always: any other mark is of no bottle at all.
    """
    filled, _, shape = form.rpartition(" and ")
    assert (filled == "black") == letter.startswith("S"), f"{letter} is {form}"
    return letter + _SIDES[shape]


class Page:
    """One page. ``picture``: as a scanner sees it, where it was asked for and a code stands on the page."""

    def __init__(self, page: pypdfium2.PdfPage, dpi: int = 0) -> None:
        words = page.get_textpage()
        self.text = _MARKS.sub("", words.get_text_bounded())
        self.width, self.height = page.get_size()
        self.shapes = tuple(_shape(o) for o in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH]))
        self.letters = tuple(_letters(words))
        self.picture = None
        if dpi and _has_code(self.shapes):
            self.picture = page.render(scale=dpi / 72).to_pil().convert("L")

    @property
    def flat(self) -> str:
        return " ".join(self.text.split())

    @cached_property
    def words(self) -> tuple[Word, ...]:
        """The words in the order in which they are drawn."""
        found: list[Word] = []
        for letter in self.letters:
            last = found[-1] if found else None
            if letter.text.isspace():
                found.append(letter)
            elif (
                last
                and last.text.strip()
                and abs(letter.bottom - last.bottom) < 4
                and (-30 < letter.left - last.right < 2.2)
            ):
                found[-1] = _joined(last, letter)
            else:
                found.append(letter)
        return tuple(word for word in found if word.text.strip())

    def within(self, box: Box) -> str:
        """The words whose middle lies in the box, line by line from the top, each line from the left."""
        mine = [w for w in self.words if box.holds(w)]
        lines: list[list[Word]] = []
        for word in sorted(mine, key=lambda w: -w.bottom):
            if lines and abs(lines[-1][0].bottom - word.bottom) < 4.5:
                lines[-1].append(word)
            else:
                lines.append([word])
        return " ".join(w.text for line in lines for w in sorted(line, key=lambda w: w.left))

    def rows(self, box: Box | None = None) -> list[tuple[float, str]]:
        """The lines of the page (or of the box) from its top, with the height each stands at."""
        box = box or Box(0, 0, self.width, self.height)
        lines: list[list[Word]] = []
        for word in sorted((w for w in self.words if box.holds(w)), key=lambda w: -w.bottom):
            if lines and abs(lines[-1][0].bottom - word.bottom) < 4.5:
                lines[-1].append(word)
            else:
                lines.append([word])
        return [
            (line[0].bottom, " ".join(w.text for w in sorted(line, key=lambda w: w.left))) for line in lines
        ]

    @cached_property
    def eyes(self) -> tuple[Eyes, ...]:
        """Every pair of eyes, from the top of the page."""
        lying = [
            s for s in self.shapes if s.segments == _CURVED and 1.15 < s.width / s.height < 1.8 and s.edge
        ]
        found = []
        for one in lying:
            for other in lying:
                alike = abs(one.width - other.width) < 0.3 and abs(one.bottom - other.bottom) < 0.3
                if alike and one.width * 0.9 < other.x - one.x < one.width * 1.8:
                    filled = tuple(name for name, eye in (("left", one), ("right", other)) if eye.fill == INK)
                    assert {one.fill, other.fill} <= {INK, WHITE}
                    pair = Box(one.left, one.bottom, other.right, other.top)
                    found.append(Eyes(pair.left, pair.bottom, pair.right, pair.top, filled, self._face(pair)))
        return tuple(sorted(found, key=lambda eyes: -eyes.top))

    def _face(self, pair: Box) -> Shape | None:
        round_it = [
            s for s in self.shapes if s.segments == _CURVED and s.height > 1.2 * s.width and s.holds(pair)
        ]
        return min(round_it, key=lambda s: s.width, default=None)

    @cached_property
    def marks(self) -> tuple[Mark, ...]:
        """The letter of every bottle with the form of its box, from the top of the page."""
        found: dict[Box, list[Word]] = {}
        for letter in self.letters:
            if letter.text.isascii() and letter.text.isalnum():
                box = self._box_of(letter)
                if box:
                    found.setdefault(box, []).append(letter)
        marks = []
        for box, letters in found.items():
            text = "".join(sorted((w.text for w in letters), key=str.isdigit))
            if text[0].isalpha() and len(text) <= 2:
                marks.append(Mark(box.left, box.bottom, box.right, box.top, text, self._form(box)))
        return tuple(sorted(marks, key=lambda m: (-m.top, m.left)))

    def _box_of(self, letter: Box) -> Shape | None:
        small = [
            s
            for s in self.shapes
            if s.fill in (INK, WHITE) and s.width < 34 and s.height < 34 and s.height > 6 and s.holds(letter)
            and s.width > 0.8 * letter.width and s.bottom < letter.bottom + 2 and s.top > letter.top - 2
        ]  # fmt: skip
        return min(small, key=lambda s: s.width * s.height, default=None)

    def _form(self, box: Shape) -> str:
        if box.fill == INK:
            return "black and round" if box.segments > _RECTANGLE else "black and square"
        outline = [
            s
            for s in self.shapes
            if s.edge and s.segments >= _RECTANGLE and abs(s.x - box.x) < 2 and abs(s.y - box.y) < 2
            and abs(s.width - box.width) < 0.4 * box.width and abs(s.height - box.height) < 0.4 * box.height
        ]  # fmt: skip
        if box.edge or outline:
            return "white and square" if box.segments <= _RECTANGLE else "white and round"
        return "between lines"

    @cached_property
    def doses(self) -> tuple[Dose, ...]:
        """What goes in: a drop black and pointed, a tablet white and long, ointment black and flat."""
        found = []
        for s in self.shapes:
            share = s.width / s.height if s.height else 0
            if s.fill == INK and not s.edge and s.segments == 16 and 0.5 < share < 0.8 and s.height > 8:
                found.append(Dose(s.left, s.bottom, s.right, s.top, "drop"))
            elif s.fill == INK and not s.edge and s.segments >= _CURVED and 3 < share < 4.5 and s.width < 30:
                found.append(Dose(s.left, s.bottom, s.right, s.top, "ointment"))
            elif (
                s.edge and s.segments >= _CURVED and 1.5 < share < 2.1 and s.width < 30 and self._is_white(s)
            ):
                found.append(Dose(s.left, s.bottom, s.right, s.top, "tablet"))
        return tuple(dict.fromkeys(found))

    def _is_white(self, shape: Shape) -> bool:
        inside = [s for s in self.shapes if abs(s.x - shape.x) < 1 and abs(s.y - shape.y) < 1 and s.fill]
        return bool(inside) and {s.fill for s in inside} == {WHITE}

    def band(self, of: Box) -> Box:
        """The row of a table in which something lies, from one rule to the next."""
        rules = [
            s for s in self.shapes
            if s.edge and s.height < 2.2 and s.width > 15 and s.left - 1 < of.x < s.right + 1
        ]  # fmt: skip
        above = min((s.y for s in rules if s.y > of.y), default=self.height)
        below = max((s.y for s in rules if s.y < of.y), default=0.0)
        return Box(0, below, self.width, above)


def rounds_drawn(pages: tuple[Page, ...]) -> list[tuple[str, str, str, str, str]]:
    """Every dose that is drawn: heading over it, time of its row, letter and form of its mark, kind of dose.

    The mark is that of its bottle in the same row, or where the row has none, the head of its column.
    """
    return [drawn for page in pages for drawn in _in_rows(page)]


_TIME = re.compile(r"\d\d:\d\d")


def _in_rows(page: Page) -> list[tuple[str, str, str, str, str]]:
    times = [w for w in page.words if _TIME.fullmatch(w.text)]
    heads = [w for w in page.words if w.text == "From" and _starts_a_line(page, w)]
    found = []
    for dose in page.doses:
        band = page.band(dose)
        row = [t for t in times if band.holds(t)]
        # Two tables may stand side by side: the nearest time before; from right to left there is none.
        time = max((t for t in row if t.left < dose.left), key=lambda t: t.left, default=None) or row[0]
        mark = _mark_of(page, dose, band)
        over = [h for h in heads if h.bottom > dose.top and h.left <= dose.left]
        if not over:  # in another language than English
            found.append((0.0, 0.0, -time.bottom, -round(dose.y, -1), dose.left, _told(time, mark, dose)))
            continue
        head = min(over, key=lambda h: (round(h.bottom - dose.top, -1), -h.left))
        level = [h.left for h in heads if abs(h.bottom - head.bottom) < 3 and h.left > head.left]
        beside = min(level, default=page.width)
        said = page.within(Box(head.left - 1, head.bottom - 3, beside - 2, head.top + 9))
        if said.endswith(" to"):  # it goes on below
            said += " " + page.within(Box(head.left - 1, head.bottom - 20, beside - 2, head.bottom + 3))
        told = (said, *_told(time, mark, dose)[1:])
        found.append((-head.bottom, head.left, -time.bottom, -round(dose.y, -1), dose.left, told))
    return [row[-1] for row in sorted(found)]


def _told(time: Word, mark: Mark, dose: Dose) -> tuple[str, str, str, str, str]:
    return "", time.text, mark.letter, mark.form, dose.kind


def _starts_a_line(page: Page, word: Word) -> bool:
    return not any(
        abs(w.bottom - word.bottom) < 3 and 0 < word.left - w.right < 8 for w in page.words if w is not word
    )


def _mark_of(page: Page, dose: Box, band: Box) -> Mark:
    beside = [m for m in page.marks if band.holds(m) and abs(m.y - dose.y) < 26]
    on_its_line = [m for m in beside if 0 < m.left - dose.right < 12 and abs(m.y - dose.y) < 8]
    near = on_its_line or [m for m in beside if 0 < dose.left - m.right < 30]
    if near:
        return min(near, key=lambda m: abs(m.y - dose.y) + abs(m.x - dose.x))
    over = [m for m in page.marks if m.bottom > dose.top and abs(m.x - dose.x) < 12]
    return min(over, key=lambda m: m.bottom - dose.top)


@dataclass(frozen=True)
class Picture(Box):
    """A drawing of a file found on a page; ``turned``: as in a mirror."""

    name: str = ""
    turned: bool = False


def drawings(names: tuple[str, ...], folder: Path) -> dict[str, tuple[Shape, ...]]:
    """What each SVG file of the folder draws, set alone."""
    source = "#set page(width: 100pt, height: 100pt, margin: 0pt)\n" + "#pagebreak()\n".join(
        f'#image("{name}.svg", width: 100pt)\n' for name in names
    )
    made = typst.compile(source.encode(), root=str(folder), ignore_system_fonts=True)
    assert isinstance(made, bytes)
    pages = read(made)
    assert len(pages) == len(names)
    return {name: page.shapes for name, page in zip(names, pages, strict=True)}


def pictures(page: Page, known: dict[str, tuple[Shape, ...]]) -> list[Picture]:
    """Where the drawings of these files stand on the page, by their strokes and where these lie."""
    found = []
    for name, parts in known.items():
        for at in range(len(page.shapes) - len(parts) + 1):
            run = page.shapes[at : at + len(parts)]
            if [(s.segments, s.fill) for s in run] != [(s.segments, s.fill) for s in parts]:
                continue
            for turned in (False, True):
                if _alike(run, parts, turned):
                    box = _round(run)
                    found.append(Picture(box.left, box.bottom, box.right, box.top, name, turned))
                    break
    return found


def _round(shapes: tuple[Shape, ...]) -> Box:
    return Box(
        min(s.left for s in shapes), min(s.bottom for s in shapes),
        max(s.right for s in shapes), max(s.top for s in shapes),
    )  # fmt: skip


def _alike(run: tuple[Shape, ...], parts: tuple[Shape, ...], turned: bool) -> bool:
    def places(shapes: tuple[Shape, ...], mirror: bool) -> list[tuple[float, float]]:
        box = _round(shapes)
        xs = [(s.x - box.left) / (box.width or 1) for s in shapes]
        return [
            (1 - x if mirror else x, (s.y - box.bottom) / (box.height or 1))
            for x, s in zip(xs, shapes, strict=True)
        ]

    pairs = zip(places(run, turned), places(parts, False), strict=True)
    return all(abs(a - c) < 0.04 and abs(b - d) < 0.04 for (a, b), (c, d) in pairs)


# Many tests look at the same few papers.
@lru_cache(maxsize=32)
def read(pdf: bytes, dpi: int = 0, only: int | None = None) -> tuple[Page, ...]:
    """Its pages, or ``only`` the first few; ``dpi``: how fine those with a code are scanned, 0: not."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        return tuple(Page(document[at], dpi) for at in range(only or len(document)))
    finally:
        document.close()


def _joined(one: Word, other: Word) -> Word:
    return Word(
        min(one.left, other.left), min(one.bottom, other.bottom),
        max(one.right, other.right), max(one.top, other.top), one.text + other.text,
    )  # fmt: skip


def _letters(words: pypdfium2.PdfTextPage):
    text = words.get_text_range()
    plain = len(text) == words.count_chars()
    for at in range(words.count_chars()):
        letter = text[at] if plain else words.get_text_range(at, 1)
        if not _MARKS.match(letter):
            yield Word(*words.get_charbox(at, loose=True), text="-" if letter == "\x02" else letter)


def _shape(found: pypdfium2.PdfObject) -> Shape:
    fill, edge = ctypes.c_int(), ctypes.c_int()
    raw.FPDFPath_GetDrawMode(found.raw, fill, edge)
    colour = [ctypes.c_uint() for _ in range(4)]
    raw.FPDFPageObj_GetFillColor(found.raw, *colour)
    red, green, blue, _ = (c.value for c in colour)
    return Shape(
        *found.get_bounds(),
        fill=(red, green, blue) if fill.value else None,
        edge=bool(edge.value),
        segments=raw.FPDFPath_CountSegments(found.raw),
    )


def _has_code(shapes: tuple[Shape, ...]) -> bool:
    return any(s.segments > 200 and s.width > 30 for s in shapes)


def says(text: str, words: str) -> bool:
    """Whether the words stand in the text, as far as a reader of PDF gives back text of any script.

    It loses spaces, doubles vowel signs and turns the letters of ligatures about; that these letters stand
    together is what stays. Two more may stand among them, for what was doubled.
    """
    wanted, there = _bare(words), _bare(text)
    assert wanted
    needed = Counter(wanted)
    for length in (len(wanted), len(wanted) + 2):
        for at in range(len(there) - length + 1):
            if there[at] in needed and not needed - Counter(there[at : at + length]):
                return True
    return False


def holds_words(text: str, words: str) -> bool:
    """The same for short words that differ from others by a letter: these letters in this order."""
    return _bare(words) in _bare(text)


def _bare(words: str) -> str:
    """The letters and figures alone, without signs above or below them."""
    plain = unicodedata.normalize("NFKD", words).casefold()
    return "".join(c for c in plain if unicodedata.category(c)[0] in "LN")
