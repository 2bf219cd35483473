"""The sheet and the pages against published guidance on print and contrast."""

from __future__ import annotations

import re

import pytest

from followup.resources import folder

TEMPLATES = folder("templates")
LAYOUT = [TEMPLATES / "sheet.typ", *sorted((TEMPLATES / "sheet").glob("*.typ"))]
SHEET = "\n".join(path.read_text("utf-8") for path in LAYOUT)


def _channel(value: int) -> float:
    share = value / 255
    return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4


def _luminance(colour: str) -> float:
    red, green, blue = (_channel(int(colour[i : i + 2], 16)) for i in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours: WCAG 2.2, "relative luminance" and "contrast ratio"."""
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize(
    ("colour", "ratio", "passes"),
    [("#767676", 4.54, True), ("#777777", 4.48, False), ("#000000", 21.0, True)],
)
def test_the_formula_gives_the_known_ratios_on_white(colour, ratio, passes):
    # WCAG 2.2 success criterion 1.4.3 (level AA): at least 4.5 to 1 for text.
    assert contrast(colour, "#ffffff") == pytest.approx(ratio, abs=0.005)
    assert (contrast(colour, "#ffffff") >= 4.5) is passes


def test_the_front_is_set_in_12_point_at_least_and_large_print_is_larger_by_a_third():
    # RNIB clear print guidance: at least 12 point, 14 preferred; what a patient acts on is on the front.
    sizes = re.findall(r"\(pick\(([\d.]+)pt, ([\d.]+)pt\), pick\(([\d.]+)pt, ([\d.]+)pt\)\)", SHEET)
    a5_large, a5, large, usual = (tuple(map(float, found)) for found in sizes)
    for comfortable, least, back, back_least in (a5_large, a5, large, usual):
        assert comfortable >= least >= back_least
        assert comfortable >= back >= back_least
    assert usual[1] >= 12, "nothing on the front is smaller"
    assert usual[3] >= 11, "nor on the back"
    assert large[0] >= 18
    assert large[1] / usual[1] > 4 / 3
    assert a5_large[1] > a5[1] >= 11
    assert "foot: 10pt" in SHEET


def test_no_italics_underline_capitals_or_justified_text():
    # RNIB clear print guidance, secondary copy.
    for banned in ("italic", "oblique", "underline", "upper(", "smallcaps", "justify: true", "emph"):
        assert banned not in SHEET
    assert "justify: false" in SHEET


@pytest.mark.parametrize("colour", ["#23201d", "#6b645c"])
def test_every_text_colour_of_the_sheet_passes_on_white(colour):
    assert colour in SHEET
    assert contrast(colour, "#ffffff") >= 4.5


@pytest.mark.parametrize(
    ("text", "ground"),
    [
        ("#23201d", "#fbf8f2"),
        ("#5c554e", "#fbf8f2"),
        ("#5c554e", "#ffffff"),
        ("#6a2c5a", "#ffffff"),
        ("#ffffff", "#23201d"),
    ],
)
def test_every_pair_of_the_phone_page_passes(text, ground):
    page = (folder("templates") / "phone.html").read_text("utf-8")
    short = {"#ffffff": "#fff"}
    assert all(short.get(c, c) in page for c in (text, ground))
    assert contrast(text, ground) >= 4.5
