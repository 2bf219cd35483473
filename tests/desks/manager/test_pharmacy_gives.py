"""The pharmacy's own day: who waits, what was given, what was a slip, and the labels."""

from __future__ import annotations

import re

import pypdfium2
import pytest

PASSWORD = "a long enough password"


@pytest.fixture
def drafted(house, routine, form_of):
    """A routine plan that nobody has signed yet."""
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine
    return house, counsellor.post("/operations/new", data=form).headers["location"]


@pytest.fixture
def signed(drafted):
    house, plan = drafted
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    return house, plan


def _give(pharmacy, form_of):
    path = "/bottles/K-104/given"
    return pharmacy.post(path, data=form_of(pharmacy.get("/bottles").text, path))


def _words(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    return " ".join(" ".join(page.get_textpage().get_text_bounded().split()) for page in document)


def test_nobody_waits_and_no_label_is_printed_of_a_plan_that_nobody_signed(drafted, words_of):
    house, _ = drafted
    pharmacy = house.log_in("pharmacy")
    assert "Nobody waits" in words_of(pharmacy.get("/bottles").text)
    refused = pharmacy.get("/bottles/labels.pdf", params={"code": "K-104"})
    assert refused.status_code == 422
    assert "nothing to label" in words_of(refused.text)


def test_who_waits_is_given_the_bottles_by_one_press_and_waits_no_more(signed, form_of, words_of):
    house, _ = signed
    pharmacy = house.log_in("pharmacy")
    page = pharmacy.get("/bottles").text
    assert re.search(
        r"waiting 1 person Wanjiru Ndegwa , \d+(-\d+)? · K-104 .* right eye · bottle 1", words_of(page)
    )
    assert _give(pharmacy, form_of).status_code == 303
    page = words_of(pharmacy.get("/bottles").text)
    assert "Nobody waits" in page
    assert "given 1 person today Wanjiru Ndegwa" in page
    assert "Bottles marked as given" in page
    house.clock.on(1)
    assert "Wanjiru" not in words_of(house.log_in("pharmacy").get("/bottles").text)


def test_a_slip_is_taken_back_on_its_day_and_not_on_the_next(signed, form_of, words_of):
    house, _ = signed
    pharmacy, back = house.log_in("pharmacy"), "/bottles/K-104/take-back"
    _give(pharmacy, form_of)
    form = form_of(pharmacy.get("/bottles").text, back)
    assert pharmacy.post(back, data=form).status_code == 303
    assert "waiting 1 person Wanjiru Ndegwa" in words_of(pharmacy.get("/bottles").text)
    _give(pharmacy, form_of)
    form = form_of(pharmacy.get("/bottles").text, back)
    house.clock.on(1)
    late = house.log_in("pharmacy").post(back, data=form)
    assert late.status_code == 422
    assert "can't be taken back any more" in words_of(late.text)


def test_what_nobody_marked_is_still_asked_for_on_the_next_day_by_itself(signed, form_of, words_of):
    house, _ = signed
    house.clock.on(1)
    pharmacy = house.log_in("pharmacy")
    page = words_of(pharmacy.get("/bottles").text)
    assert "Nobody waits" in page
    assert "not marked 1 person of the last seven days Wanjiru Ndegwa" in page
    assert "since Monday 1 March" in page
    assert _give(pharmacy, form_of).status_code == 303
    assert "not marked" not in words_of(pharmacy.get("/bottles").text)


def test_a_plan_made_again_asks_for_no_bottle_that_was_given(signed, form_of, words_of):
    house, plan = signed
    pharmacy, surgeon = house.log_in("pharmacy"), house.log_in("surgeon")
    old = form_of(pharmacy.get("/bottles").text, "/bottles/K-104/given")
    again = surgeon.post(f"{plan}/again", data={}).headers["location"]
    form = form_of(surgeon.get(again).text, f"{again}/sign") | {
        "password": [PASSWORD],
        "reason": ["read again"],
    }
    assert surgeon.post(f"{again}/sign", data=form).status_code == 303
    stale = pharmacy.post("/bottles/K-104/given", data=old)
    assert stale.status_code == 409
    assert "the plan was changed meanwhile" in words_of(stale.text)
    _give(pharmacy, form_of)
    third = surgeon.post(f"{again}/again", data={}).headers["location"]
    form = form_of(surgeon.get(third).text, f"{third}/sign") | {
        "password": [PASSWORD],
        "reason": ["once more"],
    }
    assert surgeon.post(f"{third}/sign", data=form).status_code == 303
    assert "Nobody waits" in words_of(pharmacy.get("/bottles").text)


def test_nothing_that_the_plan_does_not_name_is_given(signed):
    house, plan = signed
    pharmacy = house.log_in("pharmacy")
    number = plan.split("/")[-1]
    for bottle in ("right:steroid 99", "left:steroid 1", ""):
        sent = {"plan": number, "bottle": bottle}
        assert pharmacy.post("/bottles/K-104/given", data=sent).status_code in (409, 422)
    assert pharmacy.post("/bottles/K-104/given", data={"plan": "0"}).status_code in (409, 422)
    assert pharmacy.get("/api/bottles/waiting").json()["given"] == []


def test_each_bottle_has_a_label_with_its_eye_its_days_and_the_sample_clinics_mark(signed, form_of):
    house, _ = signed
    pharmacy = house.log_in("pharmacy")
    (waits,) = pharmacy.get("/api/bottles/waiting").json()["today"]
    answer = pharmacy.get("/bottles/labels.pdf", params={"start": 23})
    assert answer.status_code == 200, answer.text
    words = _words(answer.content)
    count = len(waits["bottles"])
    assert words.count("Wanjiru Ndegwa") == words.count("Right eye") == count
    assert words.count("Throw away after:") == words.count("Opened on:") == count
    assert words.count("Sample clinic") == count
    for one in waits["bottles"]:
        assert one["name"] in words
    # Two places were left on the sheet.
    assert len(pypdfium2.PdfDocument(answer.content)) == (1 if count <= 2 else 2)
    single = pharmacy.get("/bottles/labels.pdf", params={"code": "K-104", "single": "yes"})
    assert len(pypdfium2.PdfDocument(single.content)) == count
    assert pharmacy.get("/bottles/labels.pdf", params={"start": 25}).status_code == 422
    _give(pharmacy, form_of)
    # A label that got lost is printed once more, for this person alone.
    assert _words(pharmacy.get("/bottles/labels.pdf?code=K-104").content).count("Wanjiru Ndegwa") == count
    assert pharmacy.get("/bottles/labels.pdf").status_code == 422
