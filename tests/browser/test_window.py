"""Reception in a real browser: the queue, the telephone, a photo of the sheet, slips of the hand."""

from __future__ import annotations

import io
import re

import pytest
import qrcode
from playwright.sync_api import expect
from scanner import typed_on

from followup.recall.codes.codes import qr_payload

PASSWORD = "a long enough password"
SIZES = {"desk": (1366, 768), "phone": (390, 844)}


@pytest.fixture
def handed_over(served, scene):
    """A routine patient whose sheet is in her hands; the id of that sheet."""
    return served.starts_from(scene("handed over"))


def _picture(text: str) -> bytes:
    out = io.BytesIO()
    qrcode.make(text).save(out)
    return out.getvalue()


@pytest.mark.parametrize("size", SIZES)
def test_an_overdue_patient_is_called_in_two_clicks_and_a_slip_is_taken_back(
    served, person, handed_over, size
):
    served.on(3, 4)
    who = person(SIZES[size])
    page = who.page
    who.comes_as("reception")
    who.follow("text=1 person must be reached today")
    who.sees_a_sound_page(f"{size}-to-reach")

    # Two clicks: who, and what came of it.
    who.follow("a:has-text('Call +44 20 7946 0123')")
    expect(page.locator(".big-words")).to_contain_text("you did not come to your visit")
    who.sees_a_sound_page(f"{size}-call")
    who.follow("button:has-text('No answer')")
    expect(page.locator("main")).to_contain_text("Nobody must be reached today")
    expect(page.locator("main")).to_contain_text("Next: call, from Saturday 6 March on.")
    who.sees_a_sound_page(f"{size}-reached")

    # It was another patient who did not answer.
    who.follow("button:has-text('Take back')")
    expect(page.locator("main")).to_contain_text("The last day for this check was Wednesday 3 March")
    who.go("/to-reach")
    expect(page.locator("main")).to_contain_text("Call +44 20 7946 0123")


def test_a_photo_of_the_sheet_finds_it_and_other_photos_get_a_sentence(served, person, handed_over, tmp_path):
    served.on(1, 4)
    who = person(SIZES["phone"])
    page = who.page
    who.comes_as("reception")
    for name, content, said in (
        ("sheet.png", _picture(qr_payload(handed_over, served.desk.keyring, "RBE")), ""),
        ("cat.png", _picture("a cat"), "hold the sheet flat"),
        ("huge.jpg", b"\0" * 40_000_000, "12 MB"),
    ):
        who.go("/today")
        page.click("text=Take a photo of the sheet instead")
        (tmp_path / name).write_bytes(content)
        page.set_input_files("#photo", tmp_path / name)
        who.follow("text=Read the photo")
        if said:
            expect(page.locator("main")).to_contain_text(said)
        else:
            assert page.url.endswith(f"/found/{handed_over}")
            expect(page.locator("h1")).to_contain_text("Wanjiru Ndegwa")
        who.sees_a_sound_page(f"photo-{name[:-4]}")


@pytest.mark.parametrize("layout", ["German", "French", "Arabic"])
def test_a_hand_scanner_on_a_foreign_keyboard_finds_the_sheet_in_one_burst(
    served, person, handed_over, layout
):
    who = person()
    who.comes_as("reception")
    # The box has the focus once the page is drawn; a scanner types without pauses and ends with Enter.
    expect(who.page.locator("[autofocus]")).to_be_focused()
    who.page.keyboard.type(typed_on(layout, qr_payload(handed_over, served.desk.keyring, "RBE")))
    who.press("Enter")
    assert who.page.url.endswith(f"/found/{handed_over}")


def test_a_double_click_marks_once_and_a_slip_at_the_window_is_taken_back(served, person, handed_over):
    served.on(1, 4)
    who = person()
    page = who.page
    who.comes_as("reception", "/patients/K-104")
    who.follow_by(lambda: page.dblclick("text=Mark arrived"))
    expect(page.locator(".noted")).to_contain_text("Marked as arrived")
    assert page.locator(".noted form").count() == 1
    who.follow("text=Take back")
    expect(page.locator("main")).to_contain_text("Mark arrived")
    # Back to the page as it was before, and the same button once more: that form was used already.
    who.follow("text=Mark: did not come")
    expect(page.locator(".noted")).to_contain_text("Marked: did not come")
    who.sees_a_sound_page("desk-noted")


def test_a_double_click_on_print_issues_one_sheet(entered, person):
    who = person()
    page = who.page
    who.comes_as("surgeon", entered)
    page.fill("#password", PASSWORD)
    who.follow_by(lambda: page.dblclick("button:has-text('Sign plan')"))
    expect(page.locator("main")).to_contain_text("signed, in force")
    # Back after the signature: the old form is refused in words, and nothing is signed twice.
    page.go_back()
    who.go(entered)
    expect(page.locator("main")).to_contain_text("signed, in force")
    who.comes_as("counsellor", f"{entered}/preview")
    who.prints(lambda: page.dblclick("button:has-text('Print sheet')"))
    who.go("/patients/K-104")
    assert page.locator("a[href^='/sheets/']").count() == 1


def test_of_two_desks_at_one_record_the_second_hears_what_changed_and_keeps_the_typing(
    served, person, handed_over
):
    first, second = person(), person()
    for who in (first, second):
        who.comes_as("counsellor", "/patients/K-104/record")
    first.page.fill("[id='patient.name']", "Wanjiru Ndegwa Otieno")
    first.follow("text=Save record and see plan")
    second.page.fill("[id='operations.0.surgeon']", "Dr Rao")
    second.follow("text=Save record and see plan")
    expect(second.page.locator("main")).to_contain_text("Wanjiru Ndegwa → Wanjiru Ndegwa Otieno")
    assert second.page.locator("[id='operations.0.surgeon']").input_value() == "Dr Rao"
    second.sees_a_sound_page("desk-second")
    second.follow("text=Save record and see plan")
    expect(second.page.locator("h1")).to_contain_text("Wanjiru Ndegwa Otieno")


@pytest.mark.parametrize("desk", ["counsellor", "reception", "surgeon", "pharmacy", "manager"])
def test_the_help_of_every_desk_is_one_screen(person, desk):
    who = person(SIZES["desk"])
    who.comes_as(desk)
    who.follow("nav >> text=Help")
    assert who.page.url.endswith(f"/help/{desk}")
    assert who.page.evaluate("document.documentElement.scrollHeight") <= 768
    who.sees_a_sound_page(f"help-{desk}")


def test_consent_is_stored_with_the_keyboard_alone(served, person, handed_over):
    who = person()
    page = who.page
    who.comes_as("reception", "/patients/K-104")
    page.locator("summary:has-text('Messages')").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    page.locator("#channel").focus()
    page.keyboard.press("Tab")
    assert re.fullmatch(r"[+\d ]+", page.locator("#address").input_value())
    who.press("Enter")
    expect(page.locator("main")).to_contain_text("the patient is called instead")
    who.sees_a_sound_page("desk-consent")


@pytest.mark.parametrize("language", ["hi", "bn"])
def test_every_letter_of_a_script_that_the_computer_lacks_comes_from_the_server(served, person, language):
    served.speak(language)
    who = person()
    who.comes_as("reception")
    who.page.evaluate("document.fonts.ready.then(() => true)")
    inspector = who.page.context.new_cdp_session(who.page)
    for command in ("DOM.enable", "CSS.enable"):
        inspector.send(command)
    root = inspector.send("DOM.getDocument")["root"]["nodeId"]
    for place in (".date", "h1", ".banner", "main button", ".places a"):
        node = inspector.send("DOM.querySelector", {"nodeId": root, "selector": place})["nodeId"]
        fonts = inspector.send("CSS.getPlatformFontsForNode", {"nodeId": node})["fonts"]
        letters = re.findall(r"[\u0900-\u09ff]", who.page.locator(place).first.inner_text())
        ours = sum(font["glyphCount"] for font in fonts if font["isCustomFont"])
        assert letters
        # Letters that join are drawn as one; a box is drawn for each.
        assert ours >= len(letters) / 2, (place, fonts)
