"""The record's form at the desk and on a telephone, while somebody types and when something fails."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from followup.records.people.patients import newest_record, patient_by_code

PHONE = (390, 844)


@pytest.fixture
def form(person):
    """A counsellor before the form of a new operation."""

    def open_(size=(1366, 768), *, scripts=True):
        who = person(size, scripts=scripts)
        who.comes_as("counsellor", "/operations/new")
        return who

    return open_


def test_where_the_server_is_gone_nothing_is_sent_and_the_page_keeps_what_was_typed(served, form):
    who = form()
    who.enter_routine()
    gone = "**/healthz"
    who.page.route(gone, lambda route: route.abort())
    who.page.click("button.main[name='save']")
    expect(who.page.locator(".unsent")).to_contain_text("Not sent")
    expect(who.page.locator(".unsent")).to_contain_text("Keep this page open")
    assert who.page.input_value("[id='patient.name']") == "Wanjiru Ndegwa"
    with served.store.read() as session:
        assert patient_by_code(session, "K-104") is None
    # Once it answers again the same press sends the same page.
    who.page.unroute(gone)
    who.follow("button.main[name='save']")
    expect(who.page.locator("h1")).to_contain_text("Wanjiru Ndegwa")


def test_every_form_that_stores_asks_first_and_a_search_too_stays_where_it_is(form):
    who = form()
    who.page.route("**/healthz", lambda route: route.abort())
    who.page.click("form[action='/log-out'] button")
    expect(who.page.locator(".unsent")).to_be_visible()
    assert "/operations/new" in who.page.url


def test_a_day_is_said_in_words_while_it_is_typed_and_the_computers_order_never_counts(form):
    who = form()
    day = who.page.locator("[id='operations.0.date']")
    day.fill("5 2")
    expect(who.page.locator("[id='day-operations.0.date']")).to_have_text("Friday 5 February")
    day.fill("2 25")
    expect(who.page.locator("[id='day-operations.0.date']")).to_contain_text("the day comes first")


@pytest.mark.parametrize("scripts", [True, False])
def test_a_refusal_stands_beside_its_field_which_has_the_focus(form, scripts):
    who = form(scripts=scripts)
    who.enter_routine()
    who.page.fill("[id='operations.0.date']", "31 2")
    who.follow("button.main[name='save']")
    wrong = who.page.locator("[id='f-operations.0.date']")
    expect(wrong.locator(".wrong-line").first).to_contain_text("this month has no such day")
    expect(who.page.locator("[id='operations.0.date']")).to_be_focused()
    expect(who.page.locator("[id='operations.0.date']")).to_have_value("31 2")
    expect(wrong).to_be_in_viewport(ratio=1)
    who.page.wait_for_timeout(500)  # the page still glides to it
    bar, box = who.page.locator(".do").bounding_box(), wrong.bounding_box()
    assert box["y"] + box["height"] <= bar["y"], "the bar hides what has the focus"
    assert "YYYY" not in who.page.locator("main").inner_text()


@pytest.mark.parametrize("scripts", [True, False])
def test_lines_come_and_go_and_what_was_typed_stays(served, form, scripts):
    who = form(scripts=scripts)
    page = who.page
    who.enter_routine()
    for number, text in ((1, "+44 20 7946 0124"), (2, "+44 20 7946 0125")):
        act = page.locator("button[name='add'][value='patient.telephones']").click
        act() if scripts else who.follow_by(act)
        page.fill(f"[id='patient.telephones.{number}.number']", text)
    assert page.input_value("[id='patient.name']") == "Wanjiru Ndegwa"
    act = page.locator("button[name='remove'][value='patient.telephones.1']").click
    act() if scripts else who.follow_by(act)
    who.follow("button.main[name='save']")
    with served.store.read() as session:
        stored = newest_record(session, patient_by_code(session, "K-104").id).record
    assert [phone.number[-4:] for phone in stored.patient.telephones] == ["0123", "0125"]


@pytest.mark.parametrize("scripts", [True, False])
def test_the_code_of_a_known_patient_brings_the_record(served, entered, form, scripts):
    again = form(scripts=scripts)
    again.page.fill("[id='patient.code']", "k-104")
    if scripts:
        again.follow_by(lambda: again.page.locator("[id='patient.code']").blur())
    else:
        again.follow("button[name='known']")
    expect(again.page.locator("h1")).to_contain_text("Record of Wanjiru Ndegwa")
    for name in ("eye_drawn", "eye"):
        again.page.locator(f"input[name='operations.1.{name}'][value='left']").check()
    again.follow("button.main[name='save']")
    with served.store.read() as session:
        stored = newest_record(session, patient_by_code(session, "K-104").id).record
    assert [operation.eye for operation in stored.operations] == ["right", "left"]


def test_on_a_telephone_the_plan_is_one_press_away_and_says_what_it_still_needs(form):
    who = form(PHONE)
    who.page.fill("[id='patient.code']", "K-104")
    expect(who.page.locator("#preview")).to_contain_text("still needed")
    expect(who.page.locator("#preview a").first).to_have_text("Name")
    who.page.click("a[href='#plan-so-far']")
    expect(who.page.locator("#plan-so-far")).to_be_in_viewport()
    who.page.locator("#preview a").first.click()
    expect(who.page.locator("[id='f-patient.name']")).to_be_in_viewport()
    who.sees_a_sound_page("phone-record")
    assert not who.page.locator("details.fold[open]").count()


def test_the_routine_answer_is_grey_and_what_differs_is_plum(form):
    who = form()
    torn = who.page.locator("[id='f-operations.0.capsule_torn']")
    colour = "span => getComputedStyle(span).backgroundColor"
    routine = torn.locator("input[value='no'] + span")
    assert routine.evaluate(colour) == "rgb(233, 228, 218)"
    torn.locator("label:has(input[value='yes'])").click()
    assert torn.locator("input[value='yes'] + span").evaluate(colour) == "rgb(106, 44, 90)"
    # A second press takes the answer back: not recorded, which is never the same as no.
    torn.locator("label:has(input[value='yes'])").click()
    assert torn.locator("input:checked").get_attribute("value") == ""


def test_the_history_of_the_eye_that_is_chosen_opens_beside_it(form):
    who = form()
    folds = who.page.locator("details[data-eye]")
    who.page.locator("input[name='operations.0.eye'][value='left']").check()
    assert folds.evaluate_all("all => all.map(one => [one.dataset.eye, one.open])") == [
        ["right", False],
        ["left", True],
    ]
