"""An eye in danger looks so, on every page, until a look is stored or a clinical role says what was done."""

from __future__ import annotations

import re

import pytest

PASSWORD = "a long enough password"
EYE = "/patients/K-104/eyes/right"
PATIENT = "/patients/K-104"


@pytest.fixture
def followed(house, routine, form_of):
    """A routine operation with a signed plan, a week later; ``plan`` is its address."""
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine | {"operations.0.surgeon": ["Dr Sen"]}
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    house.clock.on(7)
    return house, plan


def _walk_in(house, form_of, *signs: int, why: str = "", **answers):
    reception = house.log_in("reception")
    form = form_of(reception.get(PATIENT).text, f"{PATIENT}/walk-in")
    form |= {f"sign.{i}": ["yes" if i in signs else "no"] for i in range(4)} | {"why": [why]} | answers
    return reception.post(f"{PATIENT}/walk-in", data=form)


def _enter(house, form_of, **findings):
    surgeon = house.log_in("surgeon")
    form = form_of(surgeon.get(EYE).text, f"{EYE}/findings")
    form |= {f"reviews.0.{name}": [value] for name, value in findings.items()}
    assert surgeon.post(f"{EYE}/findings", data=form).status_code == 303


def test_a_walk_in_is_asked_all_four_before_the_words(followed, form_of, words_of):
    house, _ = followed
    left_open = _walk_in(house, form_of, why="red eye", **{"sign.2": [""]})
    assert left_open.status_code == 422
    assert "not all four are answered" in words_of(left_open.text)
    kept = form_of(left_open.text, f"{PATIENT}/walk-in")
    assert (kept["why"], kept["sign.0"]) == (["red eye"], ["no"])
    assert _walk_in(house, form_of, why="").status_code == 422


def test_any_yes_puts_the_patient_on_top_of_both_lists_with_the_words_until_a_look_is_stored(
    followed, form_of, words_of
):
    house, _ = followed
    assert _walk_in(house, form_of, 0, 1, why="Stop bromfenac: “it burns”").status_code == 303
    for role, page in (("reception", "/today"), ("surgeon", "/my-patients")):
        html = house.log_in(role).get(page).text
        said = words_of(html)
        assert "See now: sight is falling · pain" in said
        assert "Stop bromfenac: “it burns”" in said
        assert html.index("See now") < html.index("<h2") if "<h2" in html else True
    _enter(house, form_of, cells="not seen", pressure="not done")
    assert "See now" in words_of(house.log_in("reception").get("/today").text)
    _enter(house, form_of, cells="0.5+", pressure="15")
    assert "See now" not in words_of(house.log_in("reception").get("/today").text)
    assert "See now" not in words_of(house.log_in("surgeon").get("/my-patients").text)


def test_a_walk_in_is_here_for_nothing_that_the_plan_asked_for(followed, form_of, words_of):
    house, _ = followed
    _walk_in(house, form_of, 1, why="it hurts")
    said = words_of(house.log_in("reception").get(PATIENT).text).partition("Here now")[2]
    assert "came without a visit" in said[:160]
    assert "pressure" not in said[:160]


def test_four_times_no_is_no_alert(followed, form_of, words_of):
    house, _ = followed
    assert _walk_in(house, form_of, why="has lost the bottle").status_code == 303
    assert "See now" not in words_of(house.log_in("reception").get("/today").text)


def test_a_walk_in_that_was_a_slip_takes_its_alert_along(followed, form_of, words_of):
    house, _ = followed
    _walk_in(house, form_of, 3, why="hit by a ball")
    reception = house.log_in("reception")
    entry = re.search(r'name="entry" value="(\d+)"', reception.get(PATIENT).text)[1]
    assert reception.post(f"{PATIENT}/take-back", data={"entry": entry}).status_code == 303
    assert "See now" not in words_of(reception.get("/today").text)


def test_a_senior_review_stands_on_every_page_of_the_patient_until_it_is_closed_with_a_word(
    followed, form_of, words_of
):
    house, plan = followed
    _enter(house, form_of, cells="4+", hypopyon="yes", pressure="20")
    house.clock.on(9)
    surgeon, reception = house.log_in("surgeon"), house.log_in("reception")
    pages = (PATIENT, EYE, f"{EYE}/looks/2027-03-08", plan, f"{PATIENT}/record")
    for page in (*pages, f"{plan}/steps?course=right:steroid", f"{plan}/preview"):
        said = words_of(surgeon.get(page).text)
        assert "Senior review open since Monday 8 March, 14:00" in said, page
        assert "Hypopyon: same-day senior review" in said, page
    assert "Senior review open" in words_of(reception.get(PATIENT).text)
    first = words_of(surgeon.get("/my-patients").text).partition("My patients Wanjiru Ndegwa")
    assert "Senior review open" in first[2][:200]
    action = re.search(r'action="(/patients/K-104/alerts/\d+/close)"', surgeon.get(PATIENT).text)[1]
    assert action not in reception.get(PATIENT).text
    assert reception.post(action, data={"word": "seen"}).status_code == 403
    assert surgeon.post(action, data={"word": " "}).status_code == 422
    # A quiet look does not close it: a person does.
    _enter(house, form_of, cells="1+", hypopyon="no", pressure="16")
    assert "Senior review open" in words_of(surgeon.get(EYE).text)
    assert surgeon.post(action, data={"word": "tap and inject, see tomorrow"}).status_code == 303
    for page in (*pages, "/my-patients"):
        assert "Senior review open" not in words_of(surgeon.get(page).text), page


def test_the_same_look_corrected_opens_nothing_twice_and_a_new_sign_opens_anew(followed, form_of):
    house, _ = followed
    _enter(house, form_of, cells="1+", pain="yes")
    _enter(house, form_of, cells="1+", pain="yes", pressure="15")
    surgeon = house.log_in("surgeon")
    assert surgeon.get(EYE).text.count("/close") == 1
    (alert,) = surgeon.get("/api/alerts").json()
    assert (alert["kind"], alert["eye"], alert["patient"]["code"]) == ("senior review", "right", "K-104")
    closing = f"/api/patients/K-104/alerts/{alert['id']}/close"
    assert surgeon.post(closing, json={"word": "seen by me"}).status_code == 204
    _enter(house, form_of, cells="1+", pain="yes", pressure="16")
    assert surgeon.get("/api/alerts").json() == []
    _enter(house, form_of, cells="1+", pain="yes", redness_growing="yes")
    assert len(surgeon.get("/api/alerts").json()) == 1


def test_findings_that_come_in_with_the_record_open_a_senior_review_too(followed, form_of):
    house, _ = followed
    counsellor = house.log_in("counsellor")
    kept = counsellor.get(f"/api{PATIENT}/record").json()
    look = {"eye": "right", "date": "2027-03-08", "cells": "1+", "pain": "yes"}
    record = kept["record"] | {"reviews": [look]}
    answer = counsellor.put(f"/api{PATIENT}/record", json={"seen": kept["number"], "record": record})
    assert answer.status_code == 200, answer.text
    assert [one["kind"] for one in counsellor.get("/api/alerts").json()] == ["senior review"]


def test_one_plus_on_day_1_is_as_expected_and_not_inflamed(followed, form_of, words_of):
    house, _ = followed
    house.clock.on(1)
    _enter(house, form_of, cells="1+", flare="1+", pressure="15")
    assert "Nobody is in danger" in words_of(house.log_in("surgeon").get("/my-patients").text)
    assert house.log_in("surgeon").get("/api/my-patients").json()["inflamed"] == []
    house.clock.on(14)
    _enter(house, form_of, cells="1+", flare="1+", pressure="15")
    assert "Cells 1+, flare 1+" in words_of(house.log_in("surgeon").get("/my-patients").text)


def test_the_program_interface_takes_the_four_and_shows_what_is_open(followed):
    house, _ = followed
    reception = house.log_in("reception")
    sent = {"nonce": "w" * 20, "signs": ["redness grows"], "why": ""}
    assert reception.post(f"/api{PATIENT}/walk-in", json=sent).status_code == 200
    assert [a["signs"] for a in reception.get(f"/api{PATIENT}").json()["alerts"]] == [["redness grows"]]
    assert reception.post(f"/api{PATIENT}/walk-in", json={"nonce": "v" * 20, "why": "x"}).status_code == 422
