"""The letters of a PDF with their size in points and their face."""

from __future__ import annotations

import ctypes
from dataclasses import dataclass
from functools import lru_cache

import pypdfium2
import pypdfium2.raw as raw
from printed import Box


@dataclass(frozen=True)
class Letter(Box):
    """``face`` names the part of a font that a file holds: another weight is another face."""

    text: str
    size: float
    face: str


# Many tests look at the same few papers.
@lru_cache(maxsize=32)
def letters_of(pdf: bytes) -> list[list[Letter]]:
    """Page by page, in the order in which they are drawn, without spaces."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [_letters(page) for page in document]
    finally:
        document.close()


def _letters(page: pypdfium2.PdfPage) -> list[Letter]:
    words = page.get_textpage()
    found = []
    for at in range(words.count_chars()):
        text = words.get_text_range(at, 1)
        if text and not text.isspace():
            size = raw.FPDFText_GetFontSize(words.raw, at)
            found.append(Letter(*words.get_charbox(at, loose=True), text, round(size, 1), _face(words, at)))
    return found


def _face(words: pypdfium2.PdfTextPage, at: int) -> str:
    buffer, flags = ctypes.create_string_buffer(200), ctypes.c_int()
    raw.FPDFText_GetFontInfo(words.raw, at, buffer, 200, flags)
    return buffer.value.decode()
