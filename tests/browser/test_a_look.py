"""A look at an eye as the surgeon lives it: how many presses it takes, and that the page tells the truth."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

EYE = "/patients/K-104/eyes/right"
DESK, PHONE = (1366, 768), (390, 844)


class Presses:
    """Counts what a look takes: one for each click and for each box that is filled."""

    def __init__(self, who) -> None:
        self.who, self.count = who, 0

    def fill(self, field: str, value: str) -> None:
        self.who.page.fill(f"[id='reviews.0.{field}']", value)
        self.count += 1

    def answer(self, field: str, value: str) -> None:
        self.who.picks(f"reviews.0.{field}", value)
        self.count += 1

    def tick(self, name: str) -> None:
        self.who.page.check(f"[name='{name}']")
        self.count += 1

    def follow(self, selector: str) -> None:
        self.who.follow(selector)
        self.count += 1


@pytest.fixture
def surgeon(served, scene, person):
    """A surgeon a week after a routine operation whose plan is signed; the patient is here."""

    def comes(path="/my-patients", size=DESK):
        served.starts_from(scene("here on day 7"))
        served.on(7, 4)
        who = person(size)
        who.comes_as("surgeon", path)
        return who

    return comes


def _examine(presses: Presses, cells: str, pressure: str) -> None:
    """From the list to the stored findings: all that the protocol asks for on that day."""
    presses.follow("main a:has-text('Open eye')")
    presses.fill("vision", "6/9")
    presses.fill("pressure", pressure)
    presses.answer("cells", cells)
    presses.answer("flare", "0")
    presses.tick("signs_none")
    presses.answer("epithelial_defect", "no")
    presses.answer("drops_taken", "as told")
    presses.answer("technique_seen", "good")
    presses.answer("eye_confirmed", "yes")
    presses.follow("text=Store findings, see proposals")


def test_a_quiet_look_on_day_7_takes_at_most_12_presses_from_the_list_to_the_decision(surgeon):
    who = surgeon()
    main = who.page.locator("main")
    expect(main).to_contain_text("Here, still to examine")
    presses = Presses(who)
    _examine(presses, "0.5+", "15")
    expect(main).not_to_contain_text("Still to examine")
    who.sees_a_sound_page("quiet-look")
    presses.follow("button:has-text('Go on as planned')")
    assert presses.count <= 12
    expect(main.locator("details", has_text="What was decided")).to_contain_text("as expected or fewer")
    who.go("/my-patients")
    expect(main).not_to_contain_text("Wanjiru Ndegwa")


def test_a_proposal_is_taken_on_day_7_with_at_most_12_presses_and_is_its_own_reason(surgeon):
    who = surgeon()
    presses = Presses(who)
    _examine(presses, "2+", "15")
    who.sees_a_sound_page("proposals")
    presses.follow("button:has-text('Take this one') >> nth=0")
    assert presses.count <= 12
    assert "/plans/" in who.page.url
    who.page.fill("#password", "a long enough password")
    who.follow("button:has-text('Sign plan')")
    expect(who.page.locator("main")).to_contain_text("signed, in force")


def test_what_is_still_to_examine_is_answered_there_by_its_own_control(surgeon):
    who = surgeon(EYE)
    page, main = who.page, who.page.locator("main")
    page.fill("[id='reviews.0.pressure']", "15")
    who.picks("reviews.0.cells", "2+")
    who.follow("text=Store findings, see proposals")
    expect(main).to_contain_text("Still to examine")
    expect(main).not_to_contain_text("Raise the steroid")
    for sign in ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin"):
        who.picks(f"reviews.0.{sign}", "no")
    who.sees_a_sound_page("still-to-examine")
    who.follow("text=Store, and propose again")
    assert "/looks/" in page.url
    expect(main).to_contain_text("Raise the steroid")
    expect(main.locator(".card").first).to_contain_text("Pressure, mmHg: 15")


def test_a_refusal_stands_beside_its_control_and_the_page_stays(surgeon):
    """A pressure that must be treated is not taken without its medicine, in words beside the choice."""
    who = surgeon(EYE)
    page, main = who.page, who.page.locator("main")
    page.fill("[id='reviews.0.pressure']", "ninety-nine")
    who.follow("text=Store findings, see proposals")
    box = page.locator(".finding.wrong")
    expect(box).to_contain_text("Pressure, mmHg")
    expect(box).to_contain_text("write the pressure in mmHg")
    expect(page.locator("[id='reviews.0.pressure']")).to_be_focused()
    who.looks_at_cells("0", "34")
    who.follow("text=Store findings, see proposals")
    look = page.url
    card = page.locator("section.card", has_text="34 mmHg").first
    who.follow_by(lambda: card.get_by_role("button", name="Take this one").click())
    assert page.url == look
    expect(card.locator(".wrong-line")).to_contain_text("a pressure medicine is to be added")
    who.sees_a_sound_page("no-medicine")
    who.follow("text=Follow none, note the reason")
    expect(main.locator(".field.wrong")).to_contain_text("no reason given")
    expect(page.locator("#reason")).to_be_focused()


def test_now_holds_what_is_taken_and_what_is_not_stands_apart_with_why(served, person):
    who = person()
    main = who.page.locator("main .eye-beside")
    who.comes_as("counsellor", "/operations/new")
    who.enter_routine()
    who.picks("operations.0.bleeding", "yes")
    who.signs(who.saves())
    served.on(7, 4)
    who.comes_as("surgeon", EYE)
    taken, _, rest = main.inner_text().partition("Not taken")
    assert "Dexamethasone" in taken
    assert "Bromfenac" not in taken
    assert "Bromfenac" in rest
    assert "held" in rest
    assert "Hyphaema at surgery" in rest
    who.sees_a_sound_page("not-taken")


def test_an_eye_stands_on_one_screen_of_a_desk_and_nothing_covers_what_has_the_focus(surgeon):
    who = surgeon(EYE)
    button = who.page.locator(".eye-store button.main").bounding_box()
    assert button["y"] + button["height"] <= 768
    # Every control that takes the focus by the keyboard is what lies on top at its own middle.
    covered = who.page.evaluate(
        """() => [...document.querySelectorAll('.eye-today input, .eye-today button')]
        .filter((one) => one.checkVisibility()).filter((one) => {
          one.focus(); const box = one.getBoundingClientRect();
          const top = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
          return top !== one && !one.parentElement.contains(top); }).map((one) => one.name)"""
    )
    assert covered == []


def test_no_letter_of_the_chart_is_under_11_px_on_a_telephone_and_a_table_stands_beside_it(surgeon):
    who = surgeon(EYE, PHONE)
    who.looks_at_cells("1+", "28")
    who.follow("text=Store findings, see proposals")
    who.go(EYE)
    smallest = who.page.evaluate(
        """() => { const all = [...document.querySelectorAll('.eye-chart svg')];
        const svg = all.find((one) => one.checkVisibility());
        const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
        const sizes = [...svg.querySelectorAll('text')].map((one) => one.getAttribute('font-size'));
        return scale * Math.min(...sizes) }"""
    )
    assert smallest >= 11
    who.page.click("summary:has-text('The chart as a table')")
    expect(who.page.locator("main table").first).to_contain_text("28")
    who.sees_a_sound_page("phone-eye")
