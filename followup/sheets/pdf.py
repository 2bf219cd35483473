"""The sheet on paper: content in, PDF/UA-1 bytes out; the same content gives the same bytes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pypdfium2  # type: ignore[import-untyped]

from followup.errors import FollowupError
from followup.language.fonts import must_be_covered
from followup.sheets.codes import qr_picture
from followup.sheets.model import SheetContent
from followup.sheets.typesetter import typesetter

MOST_PAGES = 12
_LONG_WORD = 18
_BARE_PAGE = 120
_NO_CODE = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"/>'


def render_pdf(content: SheetContent) -> bytes:
    """The sheet as PDF.

    Raises FollowupError ``language.glyph`` for a character without a font, ``sheet.overflow`` for
    a word too wide for its place, ``sheet.pages`` for a sheet that is cut or endless, and
    ``sheet.time`` when the layout takes too long.
    """
    data = content.model_dump(mode="json", exclude={"teach_back"})
    texts = [text for _, text in _texts(data, ())]
    for place, text in _texts(data, ()):
        must_be_covered(text, ".".join(place))
    picture = qr_picture(content.code.payload) if content.code else None
    data["qr_mm"] = picture.size_mm if picture else 0
    data["long_words"] = _long_words(texts)
    pdf = typesetter.typeset(data, picture.svg if picture else _NO_CODE)
    _must_be_whole(pdf, content)
    return pdf


def _texts(value: Any, place: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str]]:
    """Every text that is printed, with the field that it came from."""
    if isinstance(value, str):
        yield place, value
    elif isinstance(value, dict):
        for key, part in value.items():
            if key not in ("payload", "fonts", "printed_on"):
                yield from _texts(part, (*place, key))
    elif isinstance(value, list):
        for part in value:
            yield from _texts(part, place)


def _long_words(texts: list[str]) -> list[str]:
    words = {word for text in texts for word in text.split() if len(word) > _LONG_WORD}
    return sorted(words)


def _must_be_whole(pdf: bytes, content: SheetContent) -> None:
    """A sane number of pages, and none of them with a foot alone."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        pages = [page.get_textpage().get_text_bounded() for page in document]
    finally:
        document.close()
    if len(pages) > MOST_PAGES or any(len(text) < _BARE_PAGE for text in pages):
        raise FollowupError(
            "sheet.pages",
            f"the sheet came out wrong: {len(pages)} pages (at most {MOST_PAGES}), or one without text",
            where=content.who.code,
            fix="tell whoever looks after the program; do not hand this sheet out",
        )
