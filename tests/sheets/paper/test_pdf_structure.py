"""What ISO 14289-1 (PDF/UA-1) asks of the file, read by a library that had no part in making it."""

from __future__ import annotations

import ctypes
import io
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

import pikepdf
import pypdfium2
import pypdfium2.raw as raw
import pytest
import two_eyes
from told_sheets import printed

from followup.language.direction import without_marks
from followup.language.languages import LANGUAGES
from followup.sheets.model import SheetContent
from followup.sheets.paper.pdf import laid_out

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


# ---- the leaf, read out -----------------------------------------------------------------------------
TAGS = tuple(LANGUAGES)


def _of(element: pikepdf.Dictionary, named: pikepdf.Object) -> str:
    return str(named.get(element.S, element.S))


def _told(pdf: bytes) -> list[tuple[str, str]]:
    """Headings, tables and pictures in reading order, each with its words."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        named = opened.Root.StructTreeRoot.get("/RoleMap", {})
        found = []
        for element in elements(opened.Root.StructTreeRoot):
            role = _of(element, named)
            if role in ("/H1", "/H2", "/Table", "/Figure"):
                found.append((role[1:], str(element.get("/T", element.get("/Alt", "")))))
        return found


@languages
def test_page_one_is_read_in_the_order_in_which_a_patient_acts(tag):
    content, pdf, _ = printed("01-wanjiru", tag)
    told = _told(pdf)
    first = told[: next(at for at, (role, _) in enumerate(told) if role == "Table") + 1]
    wanted = [
        ("H1", content.face.words),
        ("Figure", content.face.words),
        ("Figure", f"{content.code.label} {content.code.grouped}"),
        ("H2", content.alarm.heading),
        ("H2", content.next_visit_heading),
        ("H2", content.table.heading),
        ("Table", ""),
    ]
    assert [(role, _flat(words)) for role, words in first] == [(role, _flat(words)) for role, words in wanted]
    later = [words for role, words in told if role == "H2"][3:]
    assert later[0] == _flat(content.how_to.heading)
    assert {_flat(content.home_heading), _flat(content.never.heading)} <= set(map(_flat, later))


def _flat(words: str) -> str:
    return " ".join(without_marks(words).split())


def _cells(pdf: bytes, at: int = 0) -> list[list[tuple[str, list[str]]]]:
    """A table row by row: each cell's role and what is said in the place of its drawings."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        named = opened.Root.StructTreeRoot.get("/RoleMap", {})
        tables = [e for e in elements(opened.Root.StructTreeRoot) if _of(e, named) == "/Table"]
        rows = [e for e in elements(tables[at].K) if _of(e, named) == "/TR"]
        return [
            [(_of(cell, named)[1:], _alternatives(cell)) for cell in elements(row.K) if _is_cell(cell, named)]
            for row in rows
        ]


def _is_cell(element: pikepdf.Dictionary, named: pikepdf.Object) -> bool:
    return _of(element, named) in ("/TH", "/TD")


def _alternatives(cell: pikepdf.Dictionary) -> list[str]:
    if "/K" not in cell:
        return []
    return [_flat(str(e.Alt)) for e in elements(cell.K) if str(e.S) == "/Figure"]


def _said(content: SheetContent) -> list[list[str]]:
    """What each printed row of the table must say: one line for each eye, by mouth below."""
    both = {"right", "left"} <= {m.bottle.side for row in _days(content) for m in row.marks}
    found = []
    for row in content.table.rows:
        if row.kind == "visit":
            found.append([_flat(b.due) for given in row.handed for b in given.bottles])
            continue
        sides = ("right", "left", None) if both else (...,)
        for side in sides:
            marks = [m for m in row.marks if side in (..., m.bottle.side)]
            if marks:
                times = range(len(content.table.columns))
                found.append([_flat(m.bottle.due) for at in times for m in marks if m.at[at]])
    return found


def _days(content: SheetContent) -> list:
    return [row for row in content.table.rows if row.kind == "days"]


@pytest.mark.parametrize(("case", "tag"), [("05-lakshmi", "en"), ("03-amina", "ar"), ("01-wanjiru", "ta")])
def test_a_reader_hears_of_every_mark_what_it_is_and_of_an_empty_cell_nothing(case, tag):
    content, pdf, _ = printed(case, tag)
    rows = _cells(pdf)
    heads = [row for row in rows if all(role == "TH" for role, _ in row)]
    body = [row for row in rows if row not in heads]
    assert len(heads) == 2, "parts of the day, then times"
    assert len(heads[1]) == len(content.table.columns)
    heard = [[said for _, words in row for said in words] for row in body]
    assert heard == _said(content)
    assert all(len(words) == len(set(words)) for row in body for _, words in row), "one mark a drop"


def test_a_mark_is_called_by_its_dose_medicine_and_eye(formulary):
    content = two_eyes.content(formulary)
    said = {words for row in _cells(laid_out(content)[0]) for _, cell in row for words in cell}
    assert {
        "1 drop: Bromfenac 0.09%, Right eye",
        "1 drop: Prednisolone acetate 1%, Right eye",
        "1 drop: Prednisolone acetate 1%, Left eye",
        "1 drop: Moxifloxacin 0.5%, Left eye",
        "Ointment: Chloramphenicol 1%, Left eye",
    } <= said
    assert [words for words in said if words.startswith("Prednisolone")] == [
        "Prednisolone: 4 tablets (20 mg)"
    ]


def _in_english(pdf: bytes) -> str:
    """The text that the file says is English, where the whole is not."""
    document = pypdfium2.PdfDocument(pdf)
    found = []
    try:
        for page in document:
            words = page.get_textpage()
            for item in page.get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT]):
                if _language_of(item) == "en":
                    size = raw.FPDFTextObj_GetText(item.raw, words.raw, None, 0)
                    held = (ctypes.c_ushort * (size // 2 + 1))()
                    raw.FPDFTextObj_GetText(item.raw, words.raw, held, size)
                    found.append(bytes(held).decode("utf-16-le").split("\0")[0])
    finally:
        document.close()
    return " ".join(" ".join(found).split())


def _language_of(item: pypdfium2.PdfObject) -> str:
    for at in range(raw.FPDFPageObj_CountMarks(item.raw)):
        held, size = (ctypes.c_ushort * 40)(), ctypes.c_ulong()
        mark = raw.FPDFPageObj_GetMark(item.raw, at)
        if raw.FPDFPageObjMark_GetParamStringValue(mark, b"Lang", held, 80, size):
            return bytes(held).decode("utf-16-le").split("\0")[0]
    return ""


@pytest.mark.parametrize("tag", [tag for tag in TAGS if tag != "en"])
def test_names_of_medicines_are_read_in_english_and_nothing_else_is(tag):
    content, pdf, _ = printed("01-wanjiru", tag)
    english = _in_english(pdf)
    names = {_flat(block.bottle.name) for block in content.bottles}
    for name in names:
        assert english.count(name) >= 2, "in the legend and in the table of bottles"
        english = english.replace(name, "")
    assert english.split() == []
