"""Preview while typing, printing as chosen, teaching, bottles, figures and the calendar."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pypdfium2
import pytest

from followup.language.catalogues import translator
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.views import SYSTEM

PASSWORD = "a long enough password"


@pytest.fixture
def signed(house, routine, form_of):
    """A signed routine plan; gives house, the counsellor's browser and the plan's address."""
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"].removesuffix("/paper.pdf")
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    return house, counsellor, plan


def test_the_plan_shows_beside_the_form_while_typing_and_stores_nothing(house, routine, form_of, words_of):
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text)
    nothing = words_of(counsellor.post("/operations/preview", data=form).text)
    assert "still needed" in nothing
    counsellor.post("/operations/list", data={"on": "2027-03-01", "lines": "K-104, Wanjiru Ndegwa, right"})
    shown = counsellor.post("/operations/preview", data=form | routine)
    assert "as on the list" in words_of(shown.text)
    assert "<html" not in shown.text
    assert "Visits:" in words_of(shown.text)
    other = form | routine | {"patient.conditions.asthma": ["yes"]}
    assert "question" in words_of(counsellor.post("/operations/preview", data=other).text)
    assert counsellor.get("/patients/K-104").status_code == 404
    by_button = counsellor.post("/operations/new", data=form | routine | {"look": ["yes"]})
    assert by_button.status_code == 200
    assert form_of(by_button.text)["patient.name"] == ["Wanjiru Ndegwa"]


def test_the_pages_show_as_they_print_and_print_as_chosen(signed, form_of, words_of):
    _, counsellor, plan = signed
    page = counsellor.get(f"{plan}/preview", params={"size": "large", "calendar": "no", "twin": "bn"})
    assert page.status_code == 200, words_of(page.text)
    picture = re.search(r'src="([^"]+\.png\?[^"]*)"', page.text)[1].replace("&amp;", "&")
    assert counsellor.get(picture).content.startswith(b"\x89PNG")
    assert counsellor.get(f"{plan}/pages/99.png").status_code == 404
    assert counsellor.get(f"{plan}/preview", params={"size": "huge"}).status_code == 422
    sheet = (
        counsellor.post(f"{plan}/sheets", data=form_of(page.text, f"{plan}/sheets"))
        .headers["location"]
        .removesuffix("/paper.pdf")
    )
    large = pypdfium2.PdfDocument(counsellor.get(f"{sheet}/paper.pdf").content)
    again = counsellor.get(f"{plan}/preview", params={"size": "normal", "calendar": "no"}).text
    form = form_of(again, f"{plan}/sheets") | {"reason": ["smaller letters wanted"]}
    small = counsellor.post(f"{plan}/sheets", data=form).headers["location"].removesuffix("/paper.pdf")
    small_pages = pypdfium2.PdfDocument(counsellor.get(f"{small}/paper.pdf").content)
    assert len(large) > len(small_pages)
    assert len(pypdfium2.PdfDocument(counsellor.get(f"{sheet}/paper.pdf").content)) == len(large)


def test_what_was_shown_back_is_stored_with_the_sheet(signed, form_of, words_of):
    _, counsellor, plan = signed
    sheet = (
        counsellor.post(f"{plan}/sheets", data=form_of(counsellor.get(plan).text, f"{plan}/sheets"))
        .headers["location"]
        .removesuffix("/paper.pdf")
    )
    page = counsellor.get(sheet).text
    assert "Bottles to hand over with it" in words_of(page)
    asked = page.count('name="shown"')
    assert asked >= 3
    assert counsellor.post(f"{sheet}/taught", data={"shown": ["0", "2", "99"]}).status_code == 303
    assert f"2 shown of {asked}" in words_of(counsellor.get(sheet).text)


def test_all_sheets_of_a_day_come_in_one_document_and_are_issued_once(signed):
    _, counsellor, _ = signed
    assert counsellor.get("/operations/sheets.pdf").status_code == 422
    for _ in range(2):
        answer = counsellor.post("/operations/sheets", data={"on": "2027-03-01"})
        assert answer.status_code == 303
    document = counsellor.get(answer.headers["location"])
    assert document.content.startswith(b"%PDF")
    assert counsellor.get("/patients/K-104").text.count("/sheets/") == 1


def test_one_sheet_that_can_not_be_printed_is_named_and_stops_no_other(signed, routine, form_of):
    house, counsellor, _ = signed
    other = {
        "patient.code": ["K-105"],
        "patient.name": ["Wanjirundegwa" * 6],
    }  # a word too wide for any sheet
    form = form_of(counsellor.get("/operations/new").text) | routine | other
    plan = counsellor.post("/operations/new", data=form).headers["location"].removesuffix("/paper.pdf")
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    answer = counsellor.post("/operations/sheets", data={"on": "2027-03-01"})
    document = pypdfium2.PdfDocument(counsellor.get(answer.headers["location"]).content)
    cover = document[0].get_textpage().get_text_bounded()
    assert "1 sheet" in cover
    assert "K-105" in cover
    assert "shorten it, or break" in cover
    assert counsellor.get("/patients/K-104").text.count("/sheets/") == 1
    assert counsellor.get("/patients/K-105").text.count("/sheets/") == 0


def test_bottles_of_today_are_counted_against_the_shelf(signed, words_of, form_of):
    house, _, _ = signed
    pharmacy = house.log_in("pharmacy")
    page = pharmacy.get("/bottles").text
    assert "not counted" in words_of(page)
    fields = list(dict.fromkeys(re.findall(r'name="(stock\.[a-z0-9-]+)"', page)))
    assert pharmacy.post("/bottles", data={fields[0]: "many"}).status_code == 422
    assert pharmacy.post("/bottles", data={}).status_code == 422
    counts = dict.fromkeys(fields, "0") | {fields[0]: "40"}
    assert pharmacy.post("/bottles", data=counts).status_code == 303
    after = words_of(pharmacy.get("/bottles").text)
    assert "enough" in after
    if len(fields) > 1:
        assert "1 short" in after


def test_the_visits_of_eight_weeks_stand_against_the_places(signed, words_of):
    house, counsellor, _ = signed
    counsellor.post("/operations/list", data={"on": "2027-03-04", "lines": "K-9, Asha Rao, left"})
    page = house.log_in("manager").get("/forecast")
    assert page.status_code == 200
    rows = dict(re.findall(r'<th scope="row">([^<]+)</th><td class="n"[^>]*>(\d+)', page.text))
    assert len(rows) == 56
    assert rows["Tuesday 2 March"] == "1"
    assert int(rows["Friday 5 March"]) >= 1


def test_follow_up_and_vision_are_counted(signed, words_of, form_of):
    house, _, _ = signed
    house.clock.on(7)
    surgeon = house.log_in("surgeon")
    eye = "/patients/K-104/eyes/right"
    form = form_of(surgeon.get(eye).text, f"{eye}/findings") | {"reviews.0.vision": ["6/9"]}
    surgeon.post(f"{eye}/findings", data=form)
    page = words_of(house.log_in("manager").get("/outcomes").text)
    assert "good: 6/18 or better 0 1" in page
    assert "WHO outcome bands" in page


def test_the_calendar_is_changed_and_a_stale_page_does_not_overwrite_it(house, form_of, words_of):
    manager = house.log_in("manager")
    form = form_of(manager.get("/calendar").text)
    form |= {
        "open": ["monday", "tuesday", "friday"],
        "holidays": ["2027-03-02\n2027-03-05"],
        "service": ["review", "macula"],
        "capacity": ["12", ""],
        "days.1": ["tuesday"],
        "half_weekday": ["friday"],
    }
    assert manager.post("/calendar", data=form).status_code == 303
    with house.store.read() as session:
        stored = json.loads(session.connection().exec_driver_sql("SELECT calendar FROM clinic").scalar_one())
    assert stored["services"] == [
        {"name": "review", "capacity": 12},
        {"name": "macula", "weekdays": ["tuesday"]},
    ]
    late = manager.post("/calendar", data=form)
    assert late.status_code == 409
    assert "changed the calendar meanwhile" in words_of(late.text)
    fresh = form_of(manager.get("/calendar").text)
    assert fresh["holidays"] == ["2 3 2027\n5 3 2027"]
    assert "Tuesday 2 March · Friday 5 March" in words_of(manager.get("/calendar").text)
    wrong = manager.post("/calendar", data=fresh | {"holidays": ["second of March"]})
    assert wrong.status_code == 422
    assert "second of March" in words_of(wrong.text)
    assert form_of(wrong.text)["holidays"] == ["second of March"]


def test_the_manager_says_whether_caps_have_their_colours_and_sheets_follow(signed, form_of):
    house, counsellor, plan = signed
    pages = {"pictures": "yes", "calendar": "no"}
    form = form_of(counsellor.get(f"{plan}/preview", params=pages).text, f"{plan}/sheets")
    sheet = counsellor.post(f"{plan}/sheets", data=form).headers["location"].removesuffix("/paper.pdf")
    pink = "#e58fb1"  # the steroid's cap; AAO colour codes, from memory
    assert pink not in counsellor.get(f"{sheet}/phone.html").text
    manager = house.log_in("manager")
    calendar = form_of(manager.get("/calendar").text)
    assert "caps" not in calendar, "off unless the clinic says so"
    assert manager.post("/calendar", data=calendar | {"caps": ["yes"]}).status_code == 303
    assert form_of(manager.get("/calendar").text)["caps"] == ["yes"]
    assert pink in counsellor.get(f"{sheet}/phone.html").text


def test_cover_teaching_and_second_language_are_the_staffs(signed, form_of, words_of):
    house, counsellor, plan = signed
    with house.store.write(SYSTEM, house.clock()) as unit:
        put_clinic(unit, replace(get_clinic(unit.session), staff_language="ta"))
    page = counsellor.get(f"{plan}/preview").text
    tags = re.findall(r'<option value="([a-z]+)"', page[page.index('id="twin"') :])
    assert tags[0] == "ta"
    sheet = (
        counsellor.post(f"{plan}/sheets", data=form_of(page, f"{plan}/sheets"))
        .headers["location"]
        .removesuffix("/paper.pdf")
    )
    words = translator("ta")
    for line in ("When do you come next?", "Show me how you put in one drop."):
        text = words_of(counsellor.get(sheet).text)
        assert line in text
        assert words.gettext(line) in text
    batch = pypdfium2.PdfDocument(counsellor.get("/operations/sheets.pdf?on=2027-03-01").content)
    cover = batch[0].get_textpage().get_text_bounded()
    assert words.gettext("Language") in cover
    assert "Handed over" not in cover
