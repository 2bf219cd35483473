"""Three people's day in a real browser, from log-in to log-out, at a desk and on a telephone."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

PASSWORD = "a long enough password"
SIZES = {"desk": (1366, 768), "phone": (390, 844)}


def _log_in(page: Page, served, role: str) -> None:
    page.goto(f"{served.url}/log-in")
    page.fill("#login", role)
    page.fill("#password", PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "log-in" not in url)


def _log_out(page: Page) -> None:
    page.locator("form[action='/log-out'] button").click()
    page.wait_for_url("**/log-in")


def _sound(page: Page, *, scripts: bool = True) -> None:
    """Nothing runs out sideways; axe-core finds nothing (WCAG 2.2 A and AA)."""
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, f"{page.url} scrolls sideways by {wide} px"
    if scripts:
        tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
        found = Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}})
        wrong = [
            (v["id"], v["nodes"][0]["html"][:160], v["nodes"][0].get("failureSummary", "")[:200])
            for v in found.response["violations"]
        ]
        assert not wrong, f"{page.url}: {wrong}"


def _enter_routine(page: Page) -> int:
    """The routine case with the keyboard; how many entries it took."""
    entries = 0
    for name, value in (
        ("patient.code", "K-104"),
        ("patient.name", "Wanjiru Ndegwa"),
        ("patient.birth_year", "1955"),
        ("patient.language", "en"),
        ("patient.telephones.0.number", "+44 20 7946 0123"),
        ("operations.0.surgeon", "Dr Sen"),
    ):
        field = page.locator(f"[id='{name}']")
        field.focus()
        page.keyboard.press("Control+A")
        page.keyboard.type(value)
        entries += 1
    for name in ("operations.0.eye_drawn", "operations.0.eye"):
        page.locator(f"input[name='{name}'][value='right']").focus()
        page.keyboard.press("Space")
        entries += 1
    who = page.locator("[name='patient.drops_by.who']").first
    who.focus()
    page.keyboard.press("ArrowDown")
    return entries + 1


@pytest.mark.parametrize("size", SIZES)
def test_from_the_operation_to_a_changed_plan(served, open_page, shot, size):
    page = open_page(SIZES[size])

    # The counsellor pastes the list, enters the routine case and sees the plan grow beside it.
    _log_in(page, served, "counsellor")
    page.fill("#lines", "K-104, Wanjiru Ndegwa, right")
    page.click("text=Store the list")
    _sound(page)
    shot(page, f"{size}-operations")
    page.click("text=Enter record")
    assert _enter_routine(page) < 12
    expect(page.locator("#preview")).to_contain_text("as on the list")
    _sound(page)
    shot(page, f"{size}-record")
    page.click("text=Save record and see plan")
    page.wait_for_url("**/plans/*")
    plan = page.url
    _sound(page)
    shot(page, f"{size}-plan")
    _log_out(page)

    # The surgeon looks at it, ticks it and signs it with all the others.
    _log_in(page, served, "surgeon")
    shot(page, f"{size}-waiting")
    _sound(page)
    page.check("input[name='plan']")
    page.fill("#password", PASSWORD)
    page.click("text=Sign ticked plans")
    expect(page.locator("main")).to_contain_text("No plan waits")
    _log_out(page)

    # The counsellor prints, has it said back, hands it over.
    _log_in(page, served, "counsellor")
    page.goto(f"{plan}/preview")
    page.locator(".pages img").first.wait_for()
    _sound(page)
    shot(page, f"{size}-preview")
    page.click("button:has-text('Print sheet')")
    page.wait_for_url("**/sheets/*")
    page.locator("input[name='shown']").first.check()
    page.click("text=Store what was shown back")
    page.fill("#to", "daughter")
    page.click("text=Mark handed over")
    expect(page.locator("dl")).to_contain_text("to daughter")
    code = page.locator(".code").inner_text()
    _sound(page)
    shot(page, f"{size}-sheet")
    _log_out(page)

    # The next morning at the window: type the code, compare, mark the arrival: two clicks.
    served.on(1, 4)
    _log_in(page, served, "reception")
    shot(page, f"{size}-today")
    _sound(page)
    page.fill("#text", code)
    page.keyboard.press("Enter")
    page.wait_for_url("**/found/*")
    expect(page.locator("h1")).to_contain_text("Wanjiru Ndegwa")
    _sound(page)
    shot(page, f"{size}-found")
    page.click("text=Mark arrived")
    expect(page.locator("main")).to_contain_text("Here now")
    _log_out(page)

    # The surgeon sees cells, takes a proposal, hears its effect, signs again.
    served.on(7)
    _log_in(page, served, "surgeon")
    page.goto(f"{served.url}/patients/K-104/eyes/right")
    page.fill("[id='reviews.0.pressure']", "18")
    page.select_option("[id='reviews.0.cells']", "2+")
    _sound(page)
    shot(page, f"{size}-eye")
    page.click("text=Store findings, see proposals")
    page.wait_for_url("**/looks/*")
    page.locator("input[name='take']").first.check()
    page.fill("#reason", "cells on day 7")
    page.click("text=Show the effect >> visible=true")
    expect(page.locator("[role=status]")).to_contain_text("more")
    _sound(page)
    shot(page, f"{size}-look")
    page.click("text=Store change, then sign")
    page.wait_for_url("**/plans/*")
    page.fill("#password", PASSWORD)
    page.click("button:has-text('Sign plan')")
    expect(page.locator("main")).to_contain_text("signed, in force")
    page.go_back()
    page.go_forward()
    expect(page.locator("main")).to_contain_text("signed, in force")
    page.goto(f"{served.url}/my-patients")
    _sound(page)
    shot(page, f"{size}-my-patients")
    _log_out(page)


@pytest.mark.parametrize("size", SIZES)
def test_the_pages_of_pharmacy_and_manager_hold(served, open_page, shot, size):
    page = open_page(SIZES[size])
    _log_in(page, served, "manager")
    for path in ("bottles", "forecast", "outcomes", "calendar", "staff", "help", "protocol"):
        page.goto(f"{served.url}/{path}")
        _sound(page)
        shot(page, f"{size}-{path}")


def test_the_day_goes_on_without_scripts(served, open_page):
    page = open_page(scripts=False)
    _log_in(page, served, "counsellor")
    page.click("text=Enter an operation")
    _enter_routine(page)
    page.click("text=See the plan so far")
    expect(page.locator("#preview")).to_contain_text("Visits:")
    page.click("text=Save record and see plan")
    page.wait_for_url("**/plans/*")


def test_a_session_that_ends_in_mid_form_keeps_the_typing(served, open_page):
    page = open_page()
    _log_in(page, served, "counsellor")
    page.click("text=Enter an operation")
    _enter_routine(page)
    served.on(2)
    page.click("text=Save record and see plan")
    expect(page.locator("main")).to_contain_text("nothing typed is lost")
    page.fill("#login", "counsellor")
    page.fill("#password", PASSWORD)
    page.keyboard.press("Enter")
    page.click("text=Send what I typed")
    page.wait_for_url("**/plans/*")
    expect(page.locator("h1")).to_contain_text("Wanjiru Ndegwa")
