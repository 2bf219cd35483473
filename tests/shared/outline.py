"""A printed page as text that can be compared and read: words, shapes and the order in which they are told.

One line a thing, in the order in which it is painted: where (millimetres from the left and from the top), how
large, in which ink. Nothing here knows how a sheet is made.
"""

from __future__ import annotations

import ctypes
import hashlib
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

import pikepdf
import pypdfium2
import pypdfium2.raw as raw
from printed import Box

_MM = 25.4 / 72
_INK = "#23201d"
_LARGEST = 45 / _MM  # of a drawing that is told as one
_TELLING = 24  # parts of the structure that fit on a line
_FIGURE = re.compile(r"\d+(\.\d+)?")


def outline(pdf: bytes) -> list[str]:
    """The pages, then the structure that is read out."""
    return [*_pages(pdf), *_structure(pdf)]


# ---- what is painted ----------------------------------------------------------------------------------
@dataclass(frozen=True)
class _Thing(Box):
    what: str = ""
    after: str = ""
    text: str = ""
    curved: bool = False


def _pages(pdf: bytes) -> Iterator[str]:
    document = pypdfium2.PdfDocument(pdf)
    fonts: dict[str, str] = {}
    try:
        for number, page in enumerate(document, 1):
            width, height = page.get_size()
            yield f"page {number}, {_mm(width)} x {_mm(height)}"
            words = page.get_textpage()
            things = _joined(t for found in page.get_objects() if (t := _thing(found, words, fonts)))
            told = [_told(group, height) for group in _drawings(things)]
            for (what, after), same in groupby(told, key=lambda one: (one[0], one[2])):
                yield f"{what}{'; '.join(place for _, place, _ in same)}{after}"
    finally:
        document.close()
    yield "fonts: " + ", ".join(f"{letter} {name.split('+')[-1]}" for name, letter in fonts.items())


def _thing(found: pypdfium2.PdfObject, words: pypdfium2.PdfTextPage, fonts: dict[str, str]) -> _Thing | None:
    aside = _is_aside(found)
    left, bottom, right, top = found.get_bounds()
    if found.type == raw.FPDF_PAGEOBJ_TEXT:
        text = _text(found, words)
        a, b, _, _, x, y = found.get_matrix().get()
        size = ctypes.c_float()
        raw.FPDFTextObj_GetFontSize(found.raw, size)
        ink = _colour(found, raw.FPDFPageObj_GetFillColor)
        turned = "" if abs(b) < 0.001 and a > 0 else f" turned {a:.1f} {b:.1f}"
        more = f"{'' if ink == _INK else ' ' + ink}{turned}{' aside' if aside else ''}"
        after = f" {size.value:.1f}{_font(found, fonts)}{more}"
        return _Thing(x, y, max(x, right), y + size.value, after=after, text=text) if text.strip() else None
    read = "" if aside else " read out"
    if found.type != raw.FPDF_PAGEOBJ_PATH:
        return _Thing(left, bottom, right, top, f"picture{read} ")
    fill, edge = ctypes.c_int(), ctypes.c_int()
    raw.FPDFPath_GetDrawMode(found.raw, fill, edge)
    paint = f" {_colour(found, raw.FPDFPageObj_GetFillColor)}" if fill.value else ""
    if edge.value:
        paint += f" edge {_edge(found)}"
    form = _form(found)
    return _Thing(left, bottom, right, top, f"{form}{paint}{read} ", curved=form.startswith("curve"))


def _joined(things: Iterator[_Thing]) -> list[_Thing]:
    """With pieces of a line that lie as close as two words told as one."""
    found: list[_Thing] = []
    for thing in things:
        last = found[-1] if found else None
        if last and thing.after and last.after == thing.after and abs(last.bottom - thing.bottom) < 0.1:
            gap = min(abs(thing.left - last.right), abs(last.left - thing.right))
            if gap < 0.35 * thing.height:
                close = gap < 0.12 * thing.height
                left, bottom, right, top = _round([last, thing])
                text = f"{last.text}{'' if close else ' '}{thing.text}"
                found[-1] = _Thing(left, bottom, right, top, after=thing.after, text=text)
                continue
        found.append(thing)
    return found


def _drawings(things: list[_Thing]) -> Iterator[list[_Thing]]:
    """Shapes that lie on each other, one painted after the other, and are no larger than a picture."""
    group: list[_Thing] = []
    for thing in things:
        if group and not (thing.what and group[0].what and _fits(group, thing)):
            yield from _whole(group)
            group = []
        group.append(thing)
    yield from _whole(group)


def _fits(group: list[_Thing], thing: _Thing) -> bool:
    left, bottom, right, top = _round([*group, thing])
    touches = any(
        one.left <= thing.right
        and thing.left <= one.right
        and one.bottom <= thing.top
        and thing.bottom <= one.top
        for one in group
    )
    return touches and right - left < _LARGEST and top - bottom < _LARGEST


def _whole(group: list[_Thing]) -> Iterator[list[_Thing]]:
    if len(group) > 1 and any(one.curved for one in group):
        yield group
    else:
        yield from ([one] for one in group)


def _round(group: list[_Thing]) -> tuple[float, float, float, float]:
    return (
        min(one.left for one in group), min(one.bottom for one in group),
        max(one.right for one in group), max(one.top for one in group),
    )  # fmt: skip


def _told(group: list[_Thing], height: float) -> tuple[str, str, str]:
    left, bottom, right, top = _round(group)
    place = f"{_mm(left)} {_mm(height - top)}"
    if group[0].after:
        return (
            "",
            f"{_mm(left)} {_mm(height - bottom)}",
            f"{group[0].after} | {' '.join(group[0].text.split())}",
        )
    size = f"{_mm(right - left)} x {_mm(top - bottom)} at "
    if len(group) == 1:
        return group[0].what + size, place, ""
    lying = ((one.what, one.left - left, one.bottom - bottom, one.width, one.height) for one in group)
    parts = "\n".join(f"{what}{' '.join(str(_half(side)) for side in sides)}" for what, *sides in lying)
    return f"drawing of {len(group)} {_short(parts)}, {size}", place, ""


def _mm(points: float) -> str:
    return f"{points * _MM + 0.0001:.1f}"


def _half(points: float) -> int:
    return round(points * 2 + 0.001)


def _short(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:6]


def _text(found: pypdfium2.PdfObject, words: pypdfium2.PdfTextPage) -> str:
    size = raw.FPDFTextObj_GetText(found.raw, words.raw, None, 0)
    held = (ctypes.c_ushort * (size // 2 + 1))()
    raw.FPDFTextObj_GetText(found.raw, words.raw, held, size)
    text = bytes(held).decode("utf-16-le", "replace").split("\0")[0]
    return "".join(c if c.isprintable() else f"<{ord(c):x}>" for c in text if c not in "\r\n")


def _font(found: pypdfium2.PdfObject, fonts: dict[str, str]) -> str:
    """A letter for each face of the file; the two weights of a family are two faces."""
    name = ctypes.create_string_buffer(200)
    raw.FPDFFont_GetBaseFontName(raw.FPDFTextObj_GetFont(found.raw), name, 200)
    return fonts.setdefault(name.value.decode("ascii", "replace"), chr(ord("a") + len(fonts)))


def _colour(found: pypdfium2.PdfObject, get) -> str:
    parts = [ctypes.c_uint() for _ in range(4)]
    if not get(found.raw, *parts):
        return "pattern"
    return "#" + "".join(f"{part.value:02x}" for part in parts[:3])


def _edge(found: pypdfium2.PdfObject) -> str:
    width = ctypes.c_float()
    raw.FPDFPageObj_GetStrokeWidth(found.raw, width)
    count = raw.FPDFPageObj_GetDashCount(found.raw)
    dashes = (ctypes.c_float * max(count, 1))()
    if count > 0:
        raw.FPDFPageObj_GetDashArray(found.raw, dashes, count)
    dash = " dashed " + "-".join(f"{d:.1f}" for d in dashes) if count > 0 else ""
    ink = _colour(found, raw.FPDFPageObj_GetStrokeColor)
    return f"{width.value:.1f}{'' if ink == _INK else ' ' + ink}{dash}"


def _form(found: pypdfium2.PdfObject) -> str:
    count = raw.FPDFPath_CountSegments(found.raw)
    if count > 200:
        return f"code of {count}"
    parts = [raw.FPDFPath_GetPathSegment(found.raw, at) for at in range(count)]
    points = [_point(part) for part in parts]
    if any(raw.FPDFPathSegment_GetType(part) == raw.FPDF_SEGMENT_BEZIERTO for part in parts):
        return f"curve of {count}"
    upright = len({x for x, _ in points}) <= 2 and len({y for _, y in points}) <= 2
    if count == 2:
        (x, y), (to_x, to_y) = points
        return "line" if upright else "line down" if (to_x - x) * (to_y - y) < 0 else "line up"
    if count <= 5 and upright:
        return "box"
    first = points[0]
    return "path " + " ".join(f"{_mm(x - first[0])},{_mm(first[1] - y)}" for x, y in points)


def _point(part) -> tuple[float, float]:
    x, y = ctypes.c_float(), ctypes.c_float()
    raw.FPDFPathSegment_GetPoint(part, x, y)
    return round(x.value, 2), round(y.value, 2)


def _is_aside(found: pypdfium2.PdfObject) -> bool:
    """Whether it is left out when the page is read out."""
    for at in range(raw.FPDFPageObj_CountMarks(found.raw)):
        name, size = (ctypes.c_ushort * 40)(), ctypes.c_ulong()
        raw.FPDFPageObjMark_GetName(raw.FPDFPageObj_GetMark(found.raw, at), name, 80, size)
        if bytes(name).decode("utf-16-le").split("\0")[0] == "Artifact":
            return True
    return False


# ---- what is read out ---------------------------------------------------------------------------------
def _structure(pdf: bytes) -> Iterator[str]:
    with pikepdf.open(io.BytesIO(pdf)) as document:
        info = document.open_metadata()
        title, day = info.get("dc:title", ""), info.get("xmp:CreateDate", "")[:10]
        yield f"read out in {document.Root.Lang} | {title}, {day}"
        for number, page in enumerate(document.pages, 1):
            patterns = [_pattern(one) for one in page.obj.get("/Resources", {}).get("/Pattern", {}).values()]
            if patterns:
                yield f"patterns of page {number} | {', '.join(patterns)}"
        named = document.Root.StructTreeRoot.get("/RoleMap", {})
        yield from _folded(_lines(document.Root.StructTreeRoot.K, named, 0))


def _pattern(pattern: pikepdf.Object) -> str:
    drawn = _FIGURE.sub(lambda figure: f"{float(figure[0]):.2f}", pattern.read_bytes().decode("latin-1"))
    box = [f"{float(side):g}" for side in (*pattern.BBox, pattern.XStep, pattern.YStep)]
    return _short(" ".join([*box, *drawn.split()]))


def _lines(node: pikepdf.Object, named: pikepdf.Object, depth: int) -> Iterator[str]:
    """Each part of the structure with what it holds, in one line where it fits."""
    for part in _parts(node):
        told, count = _whole_part(part, named)
        if count <= _TELLING:
            yield f"{' ' * depth}{told}"
        else:
            yield f"{' ' * depth}{_name(part, named)}"
            yield from _lines(part.get("/K"), named, depth + 1)


def _whole_part(part: pikepdf.Object, named: pikepdf.Object) -> tuple[str, int]:
    inner = [_whole_part(child, named) for child in _parts(part.get("/K"))]
    told = " ".join(_folded(text for text, _ in inner))
    return f"{_name(part, named)}{f' ({told})' if told else ''}", 1 + sum(count for _, count in inner)


def _parts(node: pikepdf.Object | None) -> Iterator[pikepdf.Dictionary]:
    for child in node if isinstance(node, pikepdf.Array) else [node]:
        if isinstance(child, pikepdf.Array):
            yield from _parts(child)
        elif isinstance(child, pikepdf.Dictionary) and "/S" in child:
            yield child


def _name(part: pikepdf.Object, named: pikepdf.Object) -> str:
    """Its role, in how many pieces it is painted, and what is said in its place."""
    kids = part.get("/K", pikepdf.Array())
    own = sum(_is_content(kid) for kid in (kids if isinstance(kids, pikepdf.Array) else [kids]))
    said = "".join(
        f" {key[1:].lower()} {str(part[key])!r}" for key in ("/Lang", "/Alt", "/ActualText") if key in part
    )
    return f"{str(named.get(part.S, part.S))[1:]}{f' {own}' if own else ''}{said}"


def _is_content(kid: pikepdf.Object) -> bool:
    return isinstance(kid, int) or (isinstance(kid, pikepdf.Dictionary) and kid.get("/Type") == "/MCR")


def _folded(told: Iterator[str]) -> Iterator[str]:
    for line, same in groupby(told):
        count = len(list(same))
        yield line if count == 1 else f"{line} x{count}"
