"""The phone page read as a drawing: the marked eye, the signs, the marks of bottles, drops and stairs."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import pytest
import two_eyes
import two_eyes_told as told
from come_at_once import LANGUAGES, SIGNS, in_language, signs_in

from followup.sheets.options import SheetOptions
from followup.sheets.phone import render_phone


@pytest.fixture(autouse=True)
def without_fonts(monkeypatch):
    """Cutting a font takes longer than all that is read here, and is tested where it is the point."""
    monkeypatch.setattr("followup.sheets.phone._faces", lambda content: ())


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
    said = re.findall(r"<li>(?:<svg.*?</svg><b>)?([^<]+)(?:</b>)?</li>", alarm, re.DOTALL)
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
        r'(<svg class="bottle".*?</svg>)\s*<span class="letter (\w+)( filled)?" dir="ltr">(\w+)</span> '
        r'<b>([^<]+)</b><span class="soft eye">([^<]+)</span>',
        page,
        re.DOTALL,
    )
    assert len(found) == 51 + 6, "one for each dose of the seven tables, and each medicine by its dates"
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


def test_each_dose_is_drawn_as_what_it_is(page):
    rows = re.findall(
        r'<span class="letter (\w+)(?: filled)?" dir="ltr">(\w+)</span>'
        r"(?:(?!<li>).)*?(<svg class=\"drops\".*?</svg>)",
        page,
        re.DOTALL,
    )
    assert len(rows) == 51
    for side, letter, drawn in rows:
        (shape,) = ET.fromstring(drawn)
        kind = told.KINDS[letter + {"left": "l", "right": "r", "mouth": ""}[side]]
        drop = shape.tag == "path"
        white = shape.get("fill") == WHITE
        assert (drop, white) == {"drop": (True, False), "tablet": (False, True), "ointment": (False, False)}[
            kind
        ]


def test_each_eye_has_its_own_stairs(page):
    """The right eye goes down from three a day, the left from four; visits are circles on the floor."""
    found = re.findall(r"<h2>(\w+ eye)</h2>\s*(<svg class=\"staircase.*?</svg>)", page, re.DOTALL)
    numbers = {eye: re.findall(r">(\d+)</text>", drawn) for eye, drawn in found}
    assert numbers == {"Right eye": ["3", "2", "1"], "Left eye": ["4", "3", "2", "1"]}
    for _, drawn in found:
        places = [float(x) for x in re.findall(r'<text x="([\d.]+)"', drawn)]
        assert places == sorted(places)
        assert len(re.findall(r"<circle[^>]*fill=\"none\"", drawn)) == 3
