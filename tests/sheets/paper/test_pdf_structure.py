"""What ISO 14289-1 (PDF/UA-1) asks of the file, read by a library that had no part in making it."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

import pikepdf
import pytest

from followup.language.languages import LANGUAGES

languages = pytest.mark.parametrize("tag", LANGUAGES)


def elements(node: pikepdf.Object) -> Iterator[pikepdf.Dictionary]:
    """Every structure element below ``node``, in reading order."""
    if isinstance(node, pikepdf.Array):
        for child in node:
            yield from elements(child)
    elif isinstance(node, pikepdf.Dictionary) and node.get("/Type") not in ("/MCR", "/OBJR"):
        if "/S" in node:
            yield node
        if "/K" in node:
            yield from elements(node.K)


def roles(pdf: pikepdf.Pdf) -> list[str]:
    """The standard role of each element: the clause lets a file give its own names to them."""
    named = pdf.Root.StructTreeRoot.get("/RoleMap", {})
    return [str(named.get(element.S, element.S)) for element in elements(pdf.Root.StructTreeRoot)]


@languages
def test_iso_14289_the_file_says_that_it_is_tagged_and_in_which_language(tag, pdf_of):
    with pikepdf.open(io.BytesIO(pdf_of(tag))) as pdf:
        # Clauses 6.2, 7.1, 7.2: marked content, a title that is shown, a natural language.
        assert bool(pdf.Root.MarkInfo.Marked)
        assert not bool(pdf.Root.MarkInfo.get("/Suspects", False))
        assert bool(pdf.Root.ViewerPreferences.DisplayDocTitle)
        assert str(pdf.Root.Lang) == tag
        assert pdf.open_metadata()["pdfuaid:part"] == "1"
        assert pdf.open_metadata()["dc:title"]


@languages
def test_iso_14289_tables_have_heads_headings_skip_no_level_and_every_picture_has_words(tag, pdf_of):
    with pikepdf.open(io.BytesIO(pdf_of(tag))) as pdf:
        found = roles(pdf)
        count = Counter(found)
        # Clause 7.5: a table with rows has heads; 7.4.2: headings begin at one and never skip a level.
        assert count["/Table"] >= 1
        assert count["/TR"] > count["/Table"]
        assert count["/TH"] >= count["/Table"]
        levels = [int(role[2:]) for role in found if role[:2] == "/H" and role[2:].isdigit()]
        assert levels[0] == 1
        assert all(after - before <= 1 for before, after in pairwise(levels))
        # Clause 7.3: what is drawn has a text in its place.
        figures = [e for e in elements(pdf.Root.StructTreeRoot) if str(e.S) == "/Figure"]
        assert figures
        assert [e for e in figures if not str(e.get("/Alt", e.get("/ActualText", ""))).strip()] == []


@languages
def test_iso_14289_pages_follow_the_structure_and_every_font_is_embedded_and_readable(tag, pdf_of):
    with pikepdf.open(io.BytesIO(pdf_of(tag))) as pdf:
        fonts = {}
        for page in pdf.pages:
            # Clause 7.18.3, where a page has links: tabbed through in the order of the structure.
            assert "/StructParents" in page.obj
            for font in page.obj.Resources.get("/Font", {}).values():
                fonts[str(font.BaseFont)] = font
        assert fonts
        for name, font in fonts.items():
            # Clause 7.21: each font program lies in the file, with a way back to characters.
            assert "/ToUnicode" in font, name
            (inner,) = font.DescendantFonts if "/DescendantFonts" in font else (font,)
            kinds = {"/FontFile", "/FontFile2", "/FontFile3"} & set(inner.FontDescriptor.keys())
            assert len(kinds) == 1, name
