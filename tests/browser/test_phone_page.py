"""The leaf on a telephone in a real browser: what is seen without folding, and nothing out of sight."""

from __future__ import annotations

import pytest
from told_sheets import CASES, sheet

from followup.language.languages import LANGUAGES
from followup.sheets.options import SheetOptions
from followup.sheets.phone import render_phone

WIDTH, HEIGHT = 390, 844
ALL = SheetOptions(pictures=True, calendar=True, native_digits=True)
# What runs out of its place, though the page as a whole does not.
WIDE = """() => [...document.querySelectorAll("th, td, p, li, h1, h2, h3, summary, a, .named")]
  .filter(e => e.scrollWidth > e.clientWidth + 1 && e.clientWidth && getComputedStyle(e).display !== "inline")
  .map(e => e.outerHTML.slice(0, 80))"""


@pytest.fixture
def phone(person):
    who = person((WIDTH, HEIGHT))

    def shows(content):
        who.page.set_content(render_phone(content))
        return who

    return shows


@pytest.mark.parametrize("tag", ["en", "ta", "ar", "fr", "sw"])
def test_the_sheet_of_a_routine_operation_is_under_five_screens(tag, phone):
    who = phone(sheet(CASES[0], tag))
    assert who.page.evaluate("document.documentElement.scrollHeight") < 5 * HEIGHT
    who.sees_a_sound_page("routine")
    calls = who.page.locator("a.call")
    assert calls.count() == 2
    assert all(box["height"] >= 44 for box in (calls.nth(i).bounding_box() for i in (0, 1)))
    assert all(e.bounding_box()["height"] >= 44 for e in who.page.locator("summary").all())


@pytest.mark.parametrize(("case", "tag"), list(zip(CASES, LANGUAGES, strict=False)))
def test_no_told_operation_runs_out_sideways(case, tag, phone):
    who = phone(sheet(case, tag, replaced=True, options=ALL))
    who.page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true })")
    who.sees_a_sound_page("told")
    assert who.page.evaluate(WIDE) == []


def test_the_staffs_copy_stands_beside_on_a_wide_screen_and_after_it_on_a_telephone(phone):
    page = phone(sheet(CASES[0], "ur", options=SheetOptions(twin="en"))).page

    def boxes():
        return [page.locator("article").nth(i).bounding_box() for i in (0, 1)]

    one, other = boxes()
    assert other["y"] > one["y"] + one["height"]
    page.set_viewport_size({"width": 1366, "height": 768})
    one, other = boxes()
    assert one["y"] == other["y"]
    assert one["x"] > other["x"] + other["width"], "the patient's first, from the right as it is read"
