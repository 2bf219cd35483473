"""The sheet on paper: content in, PDF/UA-1 bytes out; the same content gives the same bytes."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import pypdfium2  # type: ignore[import-untyped]

from followup.errors import FollowupError
from followup.language.direction import without_marks
from followup.language.fonts import must_be_covered
from followup.said import say
from followup.sheets.model import Cover, SheetContent
from followup.sheets.paper.pairs import paired
from followup.sheets.paper.qr import code_pictures
from followup.sheets.paper.typesetter import Typesetter, typesetter

# The PDF reader crashes where two threads are in it at once: whoever uses it holds this.
READER = threading.Lock()
_LONG_WORD = 10
_FOOT_POINTS = 56  # height of the foot, which every page has
_LEAST_MARGIN = 14  # points; half the narrowest margin, so that a letter's overhang is no alarm
# Line spacings to try in turn, where a page would come out with hardly a line on it.
_SQUEEZES = (1.0, 0.94, 1.06, 0.88, 1.03, 0.91, 1.09)
# How closely page one is set (see ``page.typ``), and whether the whole box of signs must stand there:
# to be tried in turn. Smaller letters come last.
_PAGE_ONE = ((0, True), (1, True), (2, True), (1, False), (2, False), (3, False))
_NOT_PRINTED = frozenset({"payload", "fonts", "printed_on", "svg"})


def render_pdf(content: SheetContent) -> bytes:
    """The sheet as PDF.

    Raises FollowupError ``language.glyph`` for a character without a font, ``sheet.overflow`` for
    a word too wide for its place, ``sheet.page_one`` where the come-at-once signs, telephones, eye
    and date do not fit on the first page, ``sheet.cut`` where text runs off the paper, ``sheet.pages``
    for a sheet that is endless, and ``sheet.time`` when the layout takes too long.
    """
    return laid_out(content)[0]


def laid_out(content: SheetContent, setter: Typesetter = typesetter) -> tuple[bytes, dict[str, Any], int]:
    """The PDF, the data that gave a good layout, and the number of pages. Raises as ``render_pdf``."""
    data = sheet_data(content)
    for squeeze in _SQUEEZES:
        data["squeeze"] = squeeze
        pdf = _with_page_one(data, content, setter)
        pages = _pages(pdf)
        _must_end(len(pages), content)
        _must_lie_on_paper(pages, content)
        if not any(_is_bare(page, content) for page in pages):
            return pdf, data, len(pages)
    raise FollowupError(
        "sheet.pages",
        say("a page of the sheet comes out with a single line"),
        where=without_marks(content.who.code),
        fix=say("print it in another size or on other paper"),
    )


def _with_page_one(data: dict[str, Any], content: SheetContent, setter: Typesetter) -> bytes:
    """The PDF, its first page set as closely as it must be to hold what has to stand there.

    That is the whole box of signs, or where no setting can hold it, what of it must stand there.
    """
    for tight, whole in _PAGE_ONE[_PAGE_ONE.index((data["tight"], data["whole"])) :]:
        data |= {"tight": tight, "whole": whole}
        try:
            return setter.typeset(job([data], content.printed_on))
        except FollowupError as exc:
            if exc.code != "sheet.page_one" or (tight, whole) == _PAGE_ONE[-1]:
                raise
    raise AssertionError("the last setting either holds or is refused")


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
    """One sheet as the layout file reads it. Raises FollowupError ``language.glyph``."""
    data = paired(content)
    del data["teach_back"]
    for place, text in _texts(data, ()):
        must_be_covered(text, ".".join(place))
    twin = content.twin
    data["twin_side"] = twin and twin.model_dump(
        include={"language", "direction", "fonts", "scale", "leading"}
    )
    data["long_words"] = _long_words(data)
    data["codes"] = _codes(content)
    data["squeeze"] = _SQUEEZES[0]
    data["tight"], data["whole"] = _PAGE_ONE[0]
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
                yield from _texts(part, place if key in ("main", "twin") else (*place, key))
    elif isinstance(value, list):
        for part in value:
            yield from _texts(part, place)


def _long_words(data: dict[str, Any]) -> list[str]:
    words = {word for _, text in _texts(data, ()) for word in text.split() if len(word) > _LONG_WORD}
    return sorted(words)


def _must_end(pages: int, content: SheetContent) -> None:
    days = len(content.calendar.days) if content.calendar else 0
    small_paper, large = content.paper == "A5", content.size == "large"
    growth = (2.4 if small_paper else 1) * (1.8 if large else 1) * (1.8 if content.twin else 1)
    most = math.ceil((13 + days / 8) * growth * (1.4 if content.pictures else 1))
    if pages > most:
        raise FollowupError(
            "sheet.pages",
            say(
                "the sheet came out wrong: {pages} pages, at most {most} can be right", pages=pages, most=most
            ),
            where=without_marks(content.who.code),
            fix=say("tell whoever looks after the program; do not hand this sheet out"),
        )


@dataclass(frozen=True)
class _Page:
    """``lines`` of text without the foot; ``room`` in points that the text leaves free on each side."""

    lines: tuple[str, ...]
    room: tuple[float, float, float, float]


def _pages(pdf: bytes) -> list[_Page]:
    with READER:
        document = pypdfium2.PdfDocument(pdf)
        try:
            return [_read(page) for page in document]
        finally:
            document.close()


def _read(page: pypdfium2.PdfPage) -> _Page:
    words = page.get_textpage()
    lines = words.get_text_bounded(bottom=_FOOT_POINTS).splitlines()
    width, height = page.get_size()
    boxes = [words.get_rect(i) for i in range(words.count_rects())]
    left = min((box[0] for box in boxes), default=width)
    bottom = min((box[1] for box in boxes), default=height)
    right = max((box[2] for box in boxes), default=0.0)
    top = max((box[3] for box in boxes), default=0.0)
    return _Page(tuple(line for line in lines if line.strip()), (left, bottom, width - right, height - top))


def _must_lie_on_paper(pages: list[_Page], content: SheetContent) -> None:
    """Nothing is cut off at an edge. A draft's watermark runs across the margins; no other text does."""
    least = 0 if content.watermark else _LEAST_MARGIN
    for number, page in enumerate(pages, 1):
        if min(page.room) < least:
            raise FollowupError(
                "sheet.cut",
                say("text of page {number} runs off the paper", number=number),
                where=without_marks(content.who.code),
                fix=say("print it in normal size or on larger paper; do not hand this sheet out"),
            )


def _is_bare(page: _Page, content: SheetContent) -> bool:
    return sum(line.strip() != content.watermark for line in page.lines) < 2
