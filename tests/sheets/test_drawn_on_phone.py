"""The phone page read as a drawing: the marked eye, the signs, the marks of bottles and drops, the table."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import pytest
import two_eyes
import two_eyes_told as told
from come_at_once import LANGUAGES, SIGNS, in_language, signs_in

from followup.sheets.options import SheetOptions
from followup.sheets.phone import render_phone

INK, WHITE = "#23201d", "#fff"


def _svgs(page: str, kind: str) -> list[ET.Element]:
    return [ET.fromstring(svg) for svg in re.findall(rf'<svg class="{kind}".*?</svg>', page, re.DOTALL)]


@pytest.mark.parametrize("tag", ["en", "ar", "ur", "hi"])
@pytest.mark.parametrize("eyes", ["left", "right", "both"])
def test_the_right_eye_is_marked_on_the_right_of_the_face_in_the_mirror(eyes, tag, make_content, of_eyes):
    page = render_phone(make_content(language=tag, **of_eyes(eyes)))
    (mirror,) = _svgs(page, "mirror")
    face, *drawn = sorted(mirror.iter("ellipse"), key=lambda e: -float(e.get("ry")))
    glass, middle = mirror.find("g/circle"), float(face.get("cx"))
    assert (glass.get("cx"), float(glass.get("r")) > float(face.get("ry"))) == (face.get("cx"), True)
    left, right = sorted(drawn, key=lambda e: float(e.get("cx")))
    assert float(left.get("cx")) < middle < float(right.get("cx"))
    assert float(left.get("cx")) + float(right.get("cx")) == 2 * middle
    assert [left.get("class"), right.get("class")] == ["left", "right"]
    black = {"left": [INK, WHITE], "right": [WHITE, INK], "both": [INK, INK]}[eyes]
    assert [left.get("fill"), right.get("fill")] == black
    # Whoever is mirrored stands before the glass, seen from behind: a dark head, drawn over it.
    behind = [p for p in list(mirror.find("g"))[-3:] if p.get("fill") == INK and p.get("stroke") == WHITE]
    assert len(behind) == 1
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)[1]
    assert not re.search(r"transform|scale\(|row-reverse|mirror[^}]*direction", style)
    words = {"left": "Left eye", "right": "Right eye", "both": "Both eyes"}[eyes]
    assert f"<h1>{in_language(tag, words)}</h1>" in page
    assert mirror.get("aria-label") == in_language(tag, words)


@pytest.mark.parametrize("tag", LANGUAGES)
@pytest.mark.parametrize("pictures", [False, True])
def test_every_sign_is_said_in_every_language(pictures, tag, make_content):
    page = render_phone(make_content(language=tag, options=SheetOptions(pictures=pictures)))
    alarm = page[page.index('<section class="alarm">') :].partition("</section>")[0]
    said = re.findall(r"<li>(?:\s*<svg.*?</svg>)?<span>([^<]+)</span></li>", alarm, re.DOTALL)
    assert len(said) == len(SIGNS) == 7
    assert dict(zip(SIGNS, said, strict=True)) == signs_in(tag)


@pytest.fixture(scope="module")
def kept():
    return {}


@pytest.fixture
def page(kept, formulary) -> str:
    """The sheet of two eyes in pictures."""
    if "page" not in kept:
        kept["page"] = render_phone(two_eyes.content(formulary, options=SheetOptions(pictures=True)))
    return kept["page"]


def _form(bottle: ET.Element) -> tuple[str, bool]:
    """The eye that the shape of the mark says, and whether the mark is filled."""
    mark, lines, letter = bottle.findall("rect")[3], bottle.findall("path"), bottle.find("text")
    filled = mark.get("fill") == INK
    assert (mark.get("fill"), letter.get("fill")) == ((INK, WHITE) if filled else (WHITE, INK))
    if lines:
        assert (mark.get("stroke"), mark.get("rx"), filled) == ("none", None, False)
        return "mouth", False
    assert mark.get("stroke") == letter.get("fill")
    assert mark.get("rx") in (None, "11"), "square, or round all about"
    assert mark.get("width") == mark.get("height") == "22"
    return "left" if mark.get("rx") else "right", filled


def test_picture_letter_and_words_of_every_bottle_name_one_eye(page):
    sides = {"left": "Left eye", "right": "Right eye", "mouth": "By mouth"}
    found = re.findall(
        r'(<svg class="bottle".*?</svg>)\s*<span class="letter (\w+)( filled)?" dir="ltr">(\w+)</span>\s*'
        r'<span class="named"><b>([^<]+)</b> <span class="eye">([^<]+)</span>',
        page,
        re.DOTALL,
    )
    assert len(found) == 15 + 6, "one for each dose of the first day, and each medicine among the bottles"
    for drawn, side, filled, letter, name, eye in found:
        bottle = ET.fromstring(drawn)
        assert _form(bottle) == (side, bool(filled))
        assert bool(filled) == (letter == "S"), "only the steroid drop is filled"
        assert sides[side] == eye
        assert bottle.find("text").text == letter
        assert f"url(#mark-{letter[0]})" in drawn
        known = {said for mark, said in told.NAMES.items() if mark != "T"}
        assert f"{letter} {name} {eye}" in known or (letter, eye) == ("T", "By mouth")


def test_bottles_of_different_letters_have_different_patterns(page):
    patterns = dict(re.findall(r'<pattern id="mark-(\w)"[^>]*><path d="([^"]*)"', page))
    assert set(patterns) == set("SNACPLHVTO")
    assert len(set(patterns.values())) == len(patterns)


def test_each_dose_of_the_day_is_drawn_as_what_it_is(page):
    rows = re.findall(
        r'<span class="letter (\w+)(?: filled)?" dir="ltr">(\w+)</span>'
        r"(?:(?!<li>).)*?(<svg class=\"drops\".*?</svg>)",
        page[: page.index("<table")],
        re.DOTALL,
    )
    assert len(rows) == 15
    for side, letter, drawn in rows:
        assert _kind(drawn) == told.KINDS[_mark(side, letter)]


def _mark(side: str, letter: str) -> str:
    return letter + {"left": "l", "right": "r", "mouth": ""}[side]


def _kind(drawn: str) -> str:
    (shape,) = ET.fromstring(drawn)
    form = shape.tag == "path", shape.get("fill") == WHITE
    return {(True, False): "drop", (False, True): "tablet", (False, False): "ointment"}[form]


_LETTER = re.compile(
    r'<span class="letter (\w+)( filled)?" dir="ltr" role="img" aria-label="([^"]+)">(\w+)</span>'
    r'(?:<b> (\w+)</b>\s*(<svg class="drops".*?</svg>))?',
    re.DOTALL,
)
_EYES = re.compile(r'<svg class="eyes".*?</svg>', re.DOTALL)
_TIMES = ("06:00", "11:00", "14:00", "17:00", "22:00", "01:00")


def _cells(table: str) -> list[dict[str, list[str]]]:
    """Of every row of days, by its time of the day, the marks that are due."""
    found = []
    for body in re.findall(r'<tbody class="days.*?</tbody>', table, re.DOTALL):
        due: dict[str, list[str]] = {}
        for row in re.findall(r"<tr>.*?</tr>", body, re.DOTALL)[1:]:
            (eyes,) = _EYES.findall(row) or [None]
            words = re.search(r'<td class="line" colspan="6">(.*?)</td>', row, re.DOTALL)
            cells = [(words[1][-9:-4], words[1])] if words else zip(_TIMES, _tds(row), strict=True)
            for time, cell in cells:
                marks = _LETTER.findall(cell)
                due.setdefault(time, []).extend(_due(*mark, of=eyes) for mark in marks)
                if words:
                    assert re.sub(r"<[^>]+>", "", words[1]).strip() == "T 4 tablets (20 mg): 06:00"
        found.append({time: marks for time, marks in due.items() if marks})
    return found


def _tds(row: str) -> list[str]:
    return re.findall(r"<td>(.*?)</td>", row, re.DOTALL)[-len(_TIMES) :]


def _due(side, filled, said, letter, figure, drawn, *, of) -> str:
    """A mark, its shape, its filling, its words and the two eyes before its line saying the same."""
    mark = _mark(side, letter)
    assert bool(filled) == (letter == "S")
    name = told.NAMES[mark].removeprefix(f"{letter} ")
    if side == "mouth":
        assert of is None
        assert said == "Prednisolone: 4 tablets (20 mg)"
        assert not figure or (figure, _kind(drawn)) == ("4", "tablet")
    else:
        eye = "Left eye" if side == "left" else "Right eye"
        assert said.startswith("Ointment: " if letter == "A2" else "1 drop: ")
        assert said.endswith(f"{name.removesuffix(f' {eye}')}, {eye}")
        pair = ET.fromstring(of)
        assert pair.get("aria-label") == eye
        black = {e.get("class"): e.get("fill") for e in pair.findall("ellipse")}
        assert black == {"left": WHITE, "right": WHITE} | {side: INK}
        left, right = pair.findall("ellipse")
        assert (left.get("class"), float(left.get("cx")) < float(right.get("cx"))) == ("left", True)
    return mark


@pytest.mark.parametrize("pictures", [False, True])
def test_the_table_has_every_dose_in_its_row_at_its_time_on_the_line_of_its_eye(pictures, formulary):
    page = render_phone(two_eyes.content(formulary, options=SheetOptions(pictures=pictures)))
    (table,) = re.findall(r'<section class="table">.*?</table>', page, re.DOTALL)
    heads = re.findall(r'<th scope="col">\s*<b>([^<]+)</b>', table)
    assert tuple(heads) == _TIMES
    wanted = [{t: sorted(due.split()) for t, due in times.items()} for times in told.ROUNDS.values()]
    assert [{t: sorted(due) for t, due in row.items()} for row in _cells(table)] == wanted


@pytest.mark.parametrize("tag", ["en", "ar"])
def test_the_sun_goes_the_way_in_which_the_columns_run(tag, make_content):
    page = render_phone(make_content(language=tag))
    suns = re.findall(r"<thead>.*?</thead>", page, re.DOTALL)[0].count("matrix(-1 0 0 1 ")
    assert suns == (4 if tag == "ar" else 0)
    assert "matrix" not in page[: page.index("<table")], "no drawing of an eye is turned round"
