"""Before and after the signature: what surgeon and counsellor see, and how many pages it takes."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

PASSWORD = "a long enough password"
SIZES = {"desk": (1366, 768), "phone": (390, 844)}


class Pages:
    """Counts the pages that somebody is shown, the first included."""

    def __init__(self, who) -> None:
        self.count = 1
        who.page.on("load", lambda _page: self._one_more())

    def _one_more(self) -> None:
        self.count += 1


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_who_and_why_and_the_whole_course_are_seen_before_signing(entered, person, size):
    who = person(size)
    who.comes_as("surgeon")
    who.sees_a_sound_page(f"{size}-plans-to-sign")
    (line,) = who.page.locator("main ul.lines > li").all()
    for page in ("list", "plan"):
        seen = line if page == "list" else who.page.locator("main")
        for words in (
            "Wanjiru Ndegwa",
            "right eye",
            "as usual",
            "Allergies none told",
            "Illnesses none told",
        ):
            expect(seen).to_contain_text(words)
        for words in ("Who gives the drops", "Way home", "Dexamethasone"):
            expect(seen).to_contain_text(words)
        expect(seen.locator("svg.staircase").first).to_be_visible()
        who.go(entered)
    who.sees_a_sound_page(f"{size}-plan-to-sign")
    # What is routine is left out.
    expect(who.page.locator("main")).not_to_contain_text("Viscoelastic")
    # Only explanation is folded, and the table and the signature stand open.
    expect(who.page.locator(".plan-table")).to_be_visible()
    assert who.page.locator("details[open]").count() == 0


def test_no_bar_covers_a_plan_of_the_list(entered, person):
    who = person()
    who.comes_as("surgeon")
    box, bar = who.page.locator("input[name='plan']"), who.page.locator("main .do")
    box.focus()
    mine, over = box.bounding_box(), bar.bounding_box()
    assert mine["y"] + mine["height"] <= over["y"], "what has the focus is covered"
    draw = who.page.locator("main .draw").bounding_box()
    assert draw["y"] + draw["height"] <= over["y"], "the staircase is covered"


def test_steps_are_changed_and_signed_in_four_pages_and_rows_come_without_any(signed, person):
    who = person()
    page = who.page
    who.comes_as("surgeon", signed)
    pages = Pages(who)
    who.follow("text=Change steps")
    page.click("text=Add a step")
    counts = page.locator("input[name='count']")
    rows = counts.count()
    counts.last.fill("1")
    page.locator("input[name='days']").last.fill("7")
    page.locator("text=Remove step").first.click()
    assert counts.count() == rows - 1
    counts.first.fill("5")
    page.fill("#reason", "cells stay")
    who.sees_a_sound_page("steps")
    assert pages.count == 2
    who.follow("text=Store change, then sign")
    expect(page.locator("main")).to_contain_text("What changes against plan 1, which is in force")
    page.fill("#password", PASSWORD)
    who.follow("button:has-text('Sign plan')")
    expect(page.locator("main")).to_contain_text("signed, in force")
    assert pages.count == 4


def test_from_my_patients_to_signed_steps_is_five_pages(served, signed, person):
    who = person()
    page = who.page
    served.on(1)
    who.marks_arrived()
    who.comes_as("surgeon", "/my-patients")
    pages = Pages(who)
    who.follow("a[href$='/eyes/right']")
    who.follow("text=Change steps")
    page.locator("input[name='count']").first.fill("5")
    page.fill("#reason", "much pigment")
    who.follow("text=Store change, then sign")
    page.fill("#password", PASSWORD)
    who.follow("button:has-text('Sign plan')")
    expect(page.locator("main")).to_contain_text("signed, in force")
    assert pages.count == 5


def test_steps_can_be_added_on_a_page_without_scripts(entered, person):
    who = person(scripts=False)
    who.comes_as("surgeon", entered)
    who.follow("text=Change steps")
    expect(who.page.locator("text=Add a step")).to_be_hidden()
    spare = who.page.locator("input[name='count']").last
    assert spare.input_value() == ""
    spare.fill("1")
    who.page.locator("input[name='days']").last.fill("7")
    who.page.fill("#reason", "a slower end")
    who.follow("text=Show the effect")
    expect(who.page.locator("[role=status]")).to_contain_text("What this change does")
    assert (
        who.page.locator("input[name='count']").evaluate_all("all => all.filter(b => b.value === '1').length")
        == 2
    )


def test_from_a_signed_plan_to_its_pages_is_one_press_and_the_hand_over_asks_three_things(signed, person):
    who = person()
    page = who.page
    who.comes_as("counsellor", signed)
    who.prints()
    asked = page.locator("input[name='shown']")
    assert [asked.nth(place).is_visible() for place in range(asked.count())].count(True) == 3
    for place, words in enumerate(("one drop", "come next", "come at once")):
        expect(page.locator("label.tick").nth(place)).to_contain_text(words)
        asked.nth(place).check()
    page.fill("#to", "the patient")
    who.sees_a_sound_page("hand-over")
    who.follow("text=Mark handed over")
    expect(page.locator("main")).to_contain_text("3 shown")
    expect(page.locator("main")).to_contain_text("to the patient")


def test_reception_prints_what_is_not_in_the_patients_hands_with_a_form_of_one_button(signed, person):
    who = person()
    who.comes_as("reception", "/patients/K-104")
    number = signed.rsplit("/", 1)[1]
    for _ in range(2):
        who.page.evaluate(
            """number => { const form = document.createElement("form");
            form.method = "post"; form.action = `/plans/${number}/sheets`; form.target = "_blank";
            form.innerHTML = "<button class='main'>Print sheet</button>"; document.body.append(form); }""",
            number,
        )
        who.prints(lambda: who.page.click("form[action$='/sheets'] button.main"))
        expect(who.page.locator("h1")).to_contain_text("Sheet 1")
