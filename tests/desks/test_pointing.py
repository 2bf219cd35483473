"""The picture on which the counsellor points at the eye: read as a drawing, not by the words under it.

A face in a mirror, as the patient sees it: the own right eye is on the right, in every language.
"""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.views import SYSTEM
from followup.resources import folder

FIELD = "operations.0.eye_drawn"


@pytest.fixture(params=["en", "ar", "hi"])
def page(request, house) -> str:
    """The form of an operation, in a language from the left or from the right."""
    house = house
    with house.store.write(SYSTEM, house.clock.now) as unit:
        put_clinic(unit, replace(get_clinic(unit.session), staff_language=request.param))
    html = house.log_in("counsellor").get("/operations/new").text
    assert re.search(rf'<html[^>]*lang="{request.param}"', html)
    return html


def _mirror(page: str) -> ET.Element:
    """The pointed picture with the choices under it."""
    inside = page[page.index('<div class="mirror">') :]
    end = inside.index("</div></div></div>")
    whole = inside[: end + len("</div></div>")]
    whole = whole.replace(" checked>", ' checked="">')
    return ET.fromstring(re.sub(r"(<input[^>]*[^/])>", r"\1/>", whole).replace("&nbsp;", " "))


def _middle(group: ET.Element) -> float:
    (iris,) = [e for e in group.iter() if e.get("class") == "iris"]
    points = [
        float(x)
        for path in group.iter()
        if path.get("d")
        for x in re.findall(r"([\d.]+) [\d.]+", path.get("d"))
    ]
    assert min(points) < float(iris.get("cx")) < max(points), "the iris lies inside its own eye"
    return float(iris.get("cx"))


def test_the_right_eye_is_drawn_on_the_right_and_the_nose_between(page):
    svg = next(e for e in _mirror(page).iter() if e.tag == "svg")
    width = float(svg.get("viewBox").split()[2])
    at = {g.get("class"): _middle(g) for g in svg.iter() if g.tag == "g"}
    assert set(at) == {"of-left", "of-right"}
    assert at["of-left"] < width / 2 < at["of-right"]
    assert at["of-left"] + at["of-right"] == pytest.approx(width)
    assert svg.get("transform") is None
    nose = next(e.get("d") for e in svg if e.get("stroke") == "#8a8177" and "M120" in (e.get("d") or ""))
    assert nose.startswith("M120 50"), "between the eyes and below them the face stands upright"


def test_a_press_on_a_drawn_eye_is_a_press_on_the_button_of_that_side(page):
    mirror = _mirror(page)
    buttons = {e.get("id"): (e.get("name"), e.get("value")) for e in mirror.iter() if e.tag == "input"}
    pressed = {
        e.get("class"): buttons[e.get("for")] for e in mirror.iter() if e.tag == "label" and e.get("for")
    }
    assert pressed == {"place left": (FIELD, "left"), "place right": (FIELD, "right")}
    words = [next(e.iter("input")).get("value") for e in mirror.iter("label") if not e.get("for")]
    assert words == ["left", "right"], "the words stand under the eyes in the order of the picture"


def test_places_colours_and_words_keep_their_side_in_the_styles():
    style = " ".join((folder("templates") / "static" / "desk.css").read_text("utf-8").split())
    for rule in (
        ".mirror .place.left { left: 0; }",
        ".mirror .place.right { right: 0; }",
        ".mirror .place { position: absolute; top: 0; bottom: 0; width: 50%;",
        '.mirror:has(input[value="left"]:checked) .of-left .iris, '
        '.mirror:has(input[value="right"]:checked) .of-right .iris { fill: var(--plum); }',
    ):
        assert rule in style
    assert re.search(r"\.mirror \.choices \{[^}]*direction: ltr;", style), "a mirror does not turn round"
    assert not re.search(r"\.mirror[^{]*\{[^}]*(?:transform|scale|row-reverse|[ ;]order:)", style)
