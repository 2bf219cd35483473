"""What is known of contrast spares no text that differs: each fault is found after a good page."""

from __future__ import annotations

import pytest
from sound_page import AgainstWcag

GOOD = """<html lang="en"><title>Good</title><body style="background: white"><main><h1>A heading</h1>
<p id="text" style="color: #767676; background: white; font-size: 16px">Words that can be read</p>
<p style="color: #949494; font: 700 20px serif">Large words</p></main>"""
# Below 4.5 : 1, or 3 : 1 where large, by the formula of WCAG 2.2 for relative luminance; GOOD is not.
WRONG = {
    "colour": ("color: #767676", "color: #787878"),
    "ground": ("background: white; font", "background: #f4f4f4; font"),
    "ground of the page": ('style="background: white"', 'style="background: #f4f4f4"'),
    "paler": ("700 20px serif", "700 20px serif; opacity: 0.9"),
    "smaller": ("700 20px", "700 18px"),
    "lighter": ("700 20px", "400 20px"),
    "something from elsewhere below it": (
        "<p id",
        "<div style='position: absolute; z-index: -1; inset: 0; background: #f4f4f4'></div><p id",
    ),
}


@pytest.fixture
def page(open_page):
    return open_page()


@pytest.mark.parametrize("wrong", WRONG)
def test_a_text_that_differs_in_what_decides_its_contrast_is_judged(page, wrong):
    judge, (was, becomes) = AgainstWcag(), WRONG[wrong]
    for _ in range(2):
        page.set_content(GOOD)
        assert judge.wrong_on(page) == []
    assert len(judge.known) == 3
    assert was in GOOD
    page.set_content(GOOD.replace(was, becomes))
    for _ in range(2):
        found = judge.wrong_on(page)
        assert [rule for rule, _, _ in found] == ["color-contrast"]
    assert len(judge.known) == 3
    assert page.locator("[data-judged]").count() == 0
