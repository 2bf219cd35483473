"""Three people's day in a real browser, from log-in to log-out, at a desk and on a telephone."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

PASSWORD = "a long enough password"
SIZES = {"desk": (1366, 768), "phone": (390, 844)}


@pytest.mark.parametrize("size", SIZES)
def test_from_the_operation_to_a_changed_plan(served, person, size):
    who = person(SIZES[size])
    page = who.page

    # The counsellor pastes the list, enters the routine case and sees the plan grow beside it.
    who.log_in("counsellor")
    page.fill("#lines", "K-104, Wanjiru Ndegwa, right")
    who.follow("text=Store the list")
    who.sees_a_sound_page(f"{size}-operations")
    who.follow("text=Enter record")
    assert who.enter_routine() < 12
    expect(page.locator("#preview")).to_contain_text("as on the list")
    who.sees_a_sound_page(f"{size}-record")
    who.follow("text=Save record and see plan")
    page.wait_for_url("**/plans/*")
    plan = page.url
    who.sees_a_sound_page(f"{size}-plan")
    who.log_out()

    # The surgeon looks at it, ticks it and signs it with all the others.
    who.log_in("surgeon")
    who.sees_a_sound_page(f"{size}-waiting")
    page.check("input[name='plan']")
    page.fill("#password", PASSWORD)
    who.follow("text=Sign ticked plans")
    expect(page.locator("main")).to_contain_text("No plan waits")
    who.log_out()

    # The counsellor prints, has it said back, hands it over.
    who.log_in("counsellor")
    page.goto(f"{plan}/preview")
    page.locator(".pages img").first.wait_for()
    who.sees_a_sound_page(f"{size}-preview")
    who.prints()
    page.locator("input[name='shown']").first.check()
    page.fill("#to", "daughter")
    who.follow("text=Mark handed over")
    expect(page.locator("main")).to_contain_text("to daughter")
    code = page.locator(".code").inner_text()
    who.sees_a_sound_page(f"{size}-sheet")
    who.log_out()

    # The next morning at the window: type the code, compare, mark the arrival: two clicks.
    served.on(1, 4)
    who.log_in("reception")
    who.sees_a_sound_page(f"{size}-today")
    page.fill("#text", code)
    who.press()
    page.wait_for_url("**/found/*")
    expect(page.locator("h1")).to_contain_text("Wanjiru Ndegwa")
    who.sees_a_sound_page(f"{size}-found")
    who.follow("text=Mark arrived")
    expect(page.locator("main")).to_contain_text("Here now")
    who.log_out()

    # The surgeon sees cells, takes a proposal, hears its effect, signs again.
    served.on(7)
    who.log_in("surgeon")
    who.go("/patients/K-104/eyes/right")
    who.looks_at_cells("2+", "18")
    who.sees_a_sound_page(f"{size}-eye")
    who.follow("text=Store findings, see proposals")
    page.wait_for_url("**/looks/*")
    page.locator("input[name='take']").first.check()
    page.fill("#reason", "cells on day 7")
    who.follow("text=Show the effect >> visible=true")
    expect(page.locator("[role=status]")).to_contain_text("more")
    who.sees_a_sound_page(f"{size}-look")
    who.follow("text=Store what is ticked, then sign")
    page.wait_for_url("**/plans/*")
    page.fill("#password", PASSWORD)
    who.follow("button:has-text('Sign plan')")
    expect(page.locator("main")).to_contain_text("signed, in force")
    page.go_back()
    page.go_forward()
    expect(page.locator("main")).to_contain_text("signed, in force")
    who.go("/my-patients")
    who.sees_a_sound_page(f"{size}-my-patients")
    who.log_out()


@pytest.mark.parametrize("size", SIZES)
def test_the_pages_of_pharmacy_and_manager_hold(person, size):
    who = person(SIZES[size])
    who.comes_as("manager", "/bottles")
    for path in ("bottles", "forecast", "outcomes", "calendar", "staff", "help", "protocol"):
        who.go(f"/{path}")
        who.sees_a_sound_page(f"{size}-{path}")


def test_the_days_go_on_without_scripts(served, person):
    who = person(scripts=False)
    page = who.page
    who.log_in("counsellor")
    who.follow("text=Enter an operation")
    who.enter_routine()
    who.follow("text=See the plan so far")
    expect(page.locator("#preview")).to_contain_text("Visits:")
    who.follow("text=Save record and see plan")
    plan = page.url
    who.log_out()

    who.signs_ticked()

    who.log_in("counsellor")
    page.goto(f"{plan}/preview")
    page.check("[name='size'][value='large']")
    who.follow("text=Show the pages")
    who.prints()
    page.locator("input[name='shown']").first.check()
    page.fill("#to", "daughter")
    who.follow("text=Mark handed over")
    code = page.locator(".code").inner_text()
    who.log_out()

    served.on(1, 4)
    who.log_in("reception")
    page.fill("#text", code)
    who.press()
    who.follow("text=Mark arrived")
    who.follow("text=Has left")
    expect(page.locator("main")).to_contain_text("Noted today")

    served.on(12, 4)
    who.log_in("reception")
    who.go("/to-reach")
    who.follow(".reach .button")
    who.follow("button:has-text('No answer')")
    expect(page.locator("main")).to_contain_text("Nobody must be reached today")
    who.log_out()


def test_a_session_that_ends_in_mid_form_keeps_the_typing(served, person):
    who = person()
    who.comes_as("counsellor", "/operations/new")
    who.enter_routine()
    served.on(2)
    who.follow("text=Save record and see plan")
    expect(who.page.locator("main")).to_contain_text("nothing typed is lost")
    who.give_password("counsellor")
    who.follow("text=Send what I typed")
    who.page.wait_for_url("**/plans/*")
    expect(who.page.locator("h1")).to_contain_text("Wanjiru Ndegwa")
