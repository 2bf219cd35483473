"""What could hurt a patient, as the desks live it: nobody in danger is out of sight."""

from __future__ import annotations

from playwright.sync_api import expect

EYE = "/patients/K-104/eyes/right"
# Arabic between marks of other scripts: nothing of it may be turned round, marked up or translated.
TYPED = "توقّف عن bromfenac: «القرنية 2+ <تذوب>» & غدًا"


def _stands_here_without_a_visit(who, *yes: int, why: str) -> None:
    who.page.click("summary:has-text('The patient is here without a visit')")
    for sign in range(4):
        who.page.check(f"[name='sign.{sign}'][value='{'yes' if sign in yes else 'no'}']")
    who.page.fill("#why", why)
    who.follow("text=Mark here without a visit")


def test_whoever_says_yes_at_the_window_is_on_top_until_a_look_is_stored(served, signed, person):
    who = person()
    main = who.page.locator("main")
    served.on(7)
    who.comes_as("reception", "/patients/K-104")
    _stands_here_without_a_visit(who, 1, why=TYPED)
    for role, path in (("reception", "/today"), ("surgeon", "/my-patients")):
        who.comes_as(role, path)
        top = who.page.locator("main ul.lines").first
        expect(top).to_contain_text("See now: pain")
        expect(top.locator("bdi", has_text="bromfenac")).to_have_text(TYPED)
        who.sees_a_sound_page(f"see-now{path.replace('/', '-')}")
    who.go(EYE)
    who.looks_at_cells("0.5+", "15")
    who.follow("text=Store findings, see proposals")
    for path in ("/today", "/my-patients", "/patients/K-104", EYE):
        who.go(path)
        expect(main).not_to_contain_text("See now")


def test_a_senior_review_stands_on_every_page_until_it_is_closed_with_a_word(served, signed, person):
    who = person((390, 844))
    main = who.page.locator("main")
    served.on(7)
    who.comes_as("surgeon", EYE)
    who.looks_at_cells("4+", "20")
    who.picks("reviews.0.hypopyon", "yes")
    who.follow("text=Store findings, see proposals")
    pages = ("/patients/K-104", EYE, signed, f"{signed}/preview", "/patients/K-104/record", "/my-patients")
    for path in pages:
        who.go(path)
        expect(main).to_contain_text("Senior review open since Monday 8 March,")
        who.sees_a_sound_page(f"senior{path.replace('/', '-')}")
    who.go(EYE)
    who.page.fill("input[name='word']", TYPED)
    who.follow("button:has-text('Close')")
    for path in pages:
        who.go(path)
        expect(main).not_to_contain_text("Senior review open")


def test_whoever_left_without_findings_is_on_the_evening_list_and_on_the_next_mornings(
    served, signed, person
):
    who = person()
    main = who.page.locator("main")
    served.on(1, 4)
    who.marks_arrived()
    who.follow("text=Has left")
    who.go("/to-reach")
    expect(main).not_to_contain_text("left without findings")
    who.comes_as("surgeon", "/my-patients")
    expect(main).to_contain_text("Left without findings")
    expect(main).to_contain_text("Wanjiru Ndegwa")
    who.sees_a_sound_page("left-evening")
    served.on(2, 4)
    who.comes_as("reception", "/to-reach")
    expect(main).to_contain_text("was here on Tuesday 2 March and left without findings")
    who.sees_a_sound_page("left-morning")


def test_a_promise_of_christmas_is_refused_and_one_of_the_days_shown_is_booked(served, signed, person):
    who = person()
    main = who.page.locator("main")
    served.on(3, 4)
    who.comes_as("reception", "/patients/K-104/call")
    choice = who.page.locator("[name='will-come']")
    assert "2027-12-25" not in main.inner_html()
    # Somebody sends the day all the same.
    choice.first.evaluate("button => { button.value = '2027-12-25'; }")
    who.follow("[name='will-come'] >> nth=0")
    expect(main).to_contain_text("25 December is too late for an overdue check")
    who.sees_a_sound_page("promise-refused")
    who.follow("[name='will-come'] >> nth=0")
    expect(main).to_contain_text("Tried today")
    who.go("/patients/K-104")
    expect(main).to_contain_text("booked")


def test_hand_over_opens_with_the_check_before_leaving(served, person):
    who = person()
    page, main = who.page, who.page.locator("main")
    who.comes_as("counsellor", "/operations/new")
    who.enter_routine()
    page.check("[name='operations.0.viscoelastic.removed'][value='doubtful']")
    page.fill("[id='operations.0.end']", "10:00")
    plan = who.saves()
    for path in ("/operations", "/today"):
        who.go(path)
        expect(main).to_contain_text("between 13:00 and 17:00")
    who.signs(plan)
    who.comes_as("counsellor", plan)
    who.prints()
    check, code = page.locator("section:has-text('Before leaving, right eye')"), page.locator(".code")
    assert check.bounding_box()["y"] < code.bounding_box()["y"]
    who.sees_a_sound_page("check-before-leaving")
    # What says neither comes back as it was typed.
    page.fill("[name='mmhg']", "١٧ أو ١٨")
    page.fill("form[action$='/leaving'] [name='why']", TYPED)
    who.follow("text=Note the check")
    assert page.input_value("[name='mmhg']") == "١٧ أو ١٨"
    assert page.input_value("form[action$='/leaving'] [name='why']") == TYPED
    page.fill("[name='mmhg']", "")
    who.follow("text=Note the check")
    expect(main).not_to_contain_text("Before leaving, right eye")
    for path in ("/operations", "/today", "/patients/K-104"):
        who.go(path)
        expect(main).not_to_contain_text("between 13:00")


def test_what_was_typed_in_arabic_is_back_in_its_box_as_typed(served, signed, person):
    served.speak("ar")
    who = person()
    page = who.page
    served.on(7)
    who.comes_as("reception", "/patients/K-104")
    page.locator("form[action$='/walk-in']").evaluate("form => { form.closest('details').open = true }")
    page.fill("#why", TYPED)
    # Without scripts' own check, as a browser without it would send it: three of the four are open.
    page.locator("form[action$='/walk-in']").evaluate("form => { form.noValidate = true }")
    page.check("[name='sign.0'][value='no']")
    who.follow("form[action$='/walk-in'] button")
    assert page.input_value("#why") == TYPED
    assert page.is_checked("[name='sign.0'][value='no']")
    for sign in range(4):
        page.check(f"[name='sign.{sign}'][value='{'yes' if sign == 3 else 'no'}']")
    who.follow("form[action$='/walk-in'] button")
    who.go("/today")
    expect(page.locator("main ul.lines bdi", has_text="bromfenac").first).to_have_text(TYPED)
    who.sees_a_sound_page("ar-see-now")
