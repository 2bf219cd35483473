"""The sheet on paper: content in, PDF/UA-1 bytes out; the same content gives the same bytes."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator
from datetime import date
from typing import Any

import pypdfium2  # type: ignore[import-untyped]

from followup.errors import FollowupError
from followup.language.direction import without_marks
from followup.language.fonts import must_be_covered
from followup.said import say
from followup.sheets.model import Cover, SheetContent
from followup.sheets.options import Paper, Size
from followup.sheets.paper.qr import code_pictures
from followup.sheets.paper.typesetter import Typesetter, typesetter

# The PDF reader crashes where two threads are in it at once: whoever uses it holds this.
READER = threading.Lock()
_LONG_WORD = 10
_LEAST_MARGIN = 14  # points; half the narrowest margin, so that a letter's overhang is no alarm
# Days to tick on one page.
_DAYS_A_PAGE: dict[tuple[Paper, Size], int] = {
    ("A4", "normal"): 28,
    ("Letter", "normal"): 25,
    ("A5", "normal"): 19,
    ("A4", "large"): 21,
    ("Letter", "large"): 19,
    ("A5", "large"): 14,
}
# Pages beyond which a sheet came out wrong: no plan that can be signed needs more.
_MOST_PAGES = 12
_NOT_PRINTED = frozenset({"payload", "fonts", "printed_on", "svg", "kind"})


def leaf_pages(content: SheetContent) -> int:
    """The pages that a sheet should need: one leaf, two in large letters or on small paper."""
    return 4 if content.paper == "A5" or content.size == "large" else 2


def render_pdf(content: SheetContent, setter: Typesetter = typesetter) -> bytes:
    """The sheet as PDF.

    Raises FollowupError ``language.glyph`` for a character without a font, ``sheet.overflow`` for
    a word too wide for its place, ``sheet.page_one`` where the come-at-once signs, telephones, eye
    and next visit do not fit on the first page, ``sheet.cut`` where text runs off the paper, ``sheet.pages``
    for a sheet that is endless, and ``sheet.time`` when the layout takes too long.
    """
    return laid_out(content, setter)[0]


def laid_out(
    content: SheetContent, setter: Typesetter = typesetter
) -> tuple[bytes, list[dict[str, Any]], int]:
    """The PDF, the data of its sheets as they came out well, and its pages. Raises as ``render_pdf``.

    Set once in comfortable letters; where that needs more than its leaf, once more in the least size.
    """
    sheets = [sheet_data(each) for each in (content, content.twin) if each]
    allowed = len(sheets) * leaf_pages(content)
    for close in (False, True):
        for data in sheets:
            data["close"] = close
        _lay_beside(sheets)
        pdf = setter.typeset(job(sheets, content.printed_on))
        pages = _pages(pdf)
        ticked = len(sheets) * _tick_pages(content)
        if len(pages) <= allowed + ticked:
            break
    _must_end(len(pages) - ticked, content)
    _must_lie_on_paper(pages, content)
    return pdf, sheets, len(pages)


def _lay_beside(sheets: list[dict[str, Any]]) -> None:
    """Let each of two leaves know the other, so that their lines stand at the same height."""
    for data in sheets:
        data["beside"] = None
    if len(sheets) == 2:
        one, other = (dict(data) for data in sheets)
        sheets[0]["beside"], sheets[1]["beside"] = other, one


def job(
    sheets: list[dict[str, Any]],
    printed_on: date,
    *,
    cover: dict[str, Any] | None = None,
    duplex: bool = False,
) -> dict[str, Any]:
    """What the layout file reads: sheets in order, behind their cover if there is one."""
    return {"sheets": sheets, "cover": cover, "duplex": duplex, "printed_on": printed_on.isoformat()}


def sheet_data(content: SheetContent) -> dict[str, Any]:
    """One leaf as the layout file reads it. Raises FollowupError ``language.glyph``."""
    data = content.model_dump(mode="json", exclude={"twin", "teach_back"})
    for place, text in _texts(data, ()):
        must_be_covered(text, ".".join(place))
    data["long_words"] = _long_words(data)
    data["codes"] = _codes(content)
    data["close"], data["beside"] = False, None
    data["days_a_page"] = _DAYS_A_PAGE[content.paper, content.size]
    return data


def cover_data(cover: Cover, paper: str) -> dict[str, Any]:
    """A batch's cover as the layout file reads it; a name that no font draws stands as its code alone."""
    data = cover.model_dump(mode="json")
    for place, text in _texts(data, ()):
        must_be_covered(text, ".".join(place))
    return data | {"paper": paper}


def _codes(content: SheetContent) -> dict[str, dict[str, Any]]:
    """Each code by name, with its width on paper in millimetres."""
    pictures = code_pictures(content).items()
    return {name: {"svg": picture.svg, "mm": picture.size_mm} for name, picture in pictures}


def _texts(value: Any, place: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str]]:
    """Every text that is printed, with the field that it came from."""
    if isinstance(value, str):
        yield place, value
    elif isinstance(value, dict):
        for key, part in value.items():
            if key not in _NOT_PRINTED:
                yield from _texts(part, (*place, key))
    elif isinstance(value, list):
        for part in value:
            yield from _texts(part, place)


def _long_words(data: dict[str, Any]) -> list[str]:
    words = {word for _, text in _texts(data, ()) for word in text.split() if len(word) > _LONG_WORD}
    return sorted(words)


def _tick_pages(content: SheetContent) -> int:
    """So many pages of days to tick."""
    days = len(content.calendar.days) if content.calendar else 0
    return math.ceil(days / _DAYS_A_PAGE[content.paper, content.size])


def _must_end(pages: int, content: SheetContent) -> None:
    if pages > _MOST_PAGES:
        raise FollowupError(
            "sheet.pages",
            say(
                "the sheet came out wrong: {pages} pages, at most {most} can be right",
                pages=pages,
                most=_MOST_PAGES,
            ),
            where=without_marks(content.who.code),
            fix=say("tell whoever looks after the program; do not hand this sheet out"),
        )


def _pages(pdf: bytes) -> list[float]:
    """How near, in points, the text of each page comes to an edge of its paper."""
    with READER:
        document = pypdfium2.PdfDocument(pdf)
        try:
            return [_room(page) for page in document]
        finally:
            document.close()


def _room(page: pypdfium2.PdfPage) -> float:
    words = page.get_textpage()
    width, height = page.get_size()
    boxes = [words.get_rect(i) for i in range(words.count_rects())]
    rooms = ((left, bottom, width - right, height - top) for left, bottom, right, top in boxes)
    return min(map(min, rooms), default=math.inf)


def _must_lie_on_paper(pages: list[float], content: SheetContent) -> None:
    """Nothing is cut off at an edge. A draft's watermark runs across the margins; no other text does."""
    least = 0 if content.watermark else _LEAST_MARGIN
    for number, room in enumerate(pages, 1):
        if room < least:
            raise FollowupError(
                "sheet.cut",
                say("text of page {number} runs off the paper", number=number),
                where=without_marks(content.who.code),
                fix=say("print it in normal size or on larger paper; do not hand this sheet out"),
            )
