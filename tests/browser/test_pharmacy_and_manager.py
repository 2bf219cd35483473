"""The pharmacy's and the manager's day in a browser: one press gives bottles, a picture opens its people."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

SIZES = {"desk": (1366, 768), "phone": (390, 844)}
# The letters that are drawn, as large as they come out on the screen; words of a hidden state are none.
SMALLEST = """(selector) => Math.min(...[...document.querySelectorAll(selector)]
    .filter((one) => one.textContent.trim() && one.checkVisibility())
    .map((one) => parseFloat(getComputedStyle(one).fontSize)).filter((size) => size > 0))"""


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_who_waits_is_given_the_bottles_by_one_press_which_can_be_taken_back(signed, person, size):
    who = person(size)
    who.comes_as("pharmacy")
    line = who.page.locator("main ul.lines > li").first
    expect(line).to_contain_text("Wanjiru Ndegwa")
    expect(line).to_contain_text("right eye")
    who.sees_a_sound_page(f"{size}-bottles-waiting")
    who.follow("main form[action$='/given'] button")
    expect(who.page.locator("main")).to_contain_text("Nobody waits")
    who.sees_a_sound_page(f"{size}-bottles-given")
    who.follow("main form[action$='/take-back'] button")
    expect(who.page.locator("main ul.lines > li").first).to_contain_text("Wanjiru Ndegwa")


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_eight_weeks_stand_on_one_calendar_and_a_day_opens_its_people(signed, person, size):
    who = person(size)
    who.comes_as("manager")
    assert who.page.locator(".month tbody tr").count() == 8
    assert who.page.evaluate(SMALLEST, ".month b, .month bdi, .month th, .month abbr") >= 11
    day = who.page.locator(".month td > a").first
    wanted = int(re.match(r"(\d+)", day.inner_text())[1])
    assert day.bounding_box()["height"] >= 44
    assert who.page.evaluate("document.body.scrollHeight") < 1500
    who.sees_a_sound_page(f"{size}-forecast")
    who.follow(".month td > a >> nth=0")
    people = who.page.locator("#people")
    expect(people).to_contain_text("Wanjiru Ndegwa")
    expect(people.locator("h2")).to_contain_text(str(wanted))
    who.sees_a_sound_page(f"{size}-forecast-people")


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_no_letter_of_the_outcomes_is_under_11_px_and_each_figure_opens_its_people(
    served, signed, person, size
):
    who = person(size)
    served.on(40)
    who.comes_as("manager", "/outcomes")
    chart = who.page.locator(".outcomes svg")
    drawn = chart.bounding_box()
    assert drawn["width"] == pytest.approx(float(chart.get_attribute("width")), abs=1), "made smaller"
    assert who.page.evaluate(SMALLEST, ".outcomes text, .key") >= 11
    who.sees_a_sound_page(f"{size}-outcomes")
    figures = who.page.locator(".figures td a")
    assert figures.count() > 0
    count = figures.first.inner_text()
    who.follow_by(figures.first.click)
    assert str(who.page.locator("#people li").count()) == count
    who.sees_a_sound_page(f"{size}-outcomes-people")
