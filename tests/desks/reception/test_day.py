"""The day at reception: each person once, grouped by what is to do, and one press for an arrival."""

from __future__ import annotations

import re

import pytest
from sqlalchemy import text

PASSWORD = "a long enough password"


@pytest.fixture
def day(house, routine, form_of):
    """Three people to come on the day after their operation; two of them have one name."""
    house.sign_protocol()
    counsellor, surgeon = house.enter("counsellor"), house.log_in("surgeon")
    for code, name in (("K-104", "Wanjiru Ndegwa"), ("K-105", "Rui Paz"), ("K-106", "WANJIRU  Ndegwa")):
        who = {"patient.code": [code], "patient.name": [name]}
        form = form_of(counsellor.get("/operations/new").text) | routine | who
        plan = counsellor.post("/operations/new", data=form).headers["location"]
        assert surgeon.post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    house.clock.on(1)
    return house.enter("reception")


def _main(browser, address="/today") -> str:
    return browser.get(address).text.split("<main")[1]


def _line(page: str, code: str) -> str:
    return next(line for line in page.split("<li>") if f"/patients/{code}" in line).split("</li>")[0]


def _groups(page: str, words_of) -> dict[str, str]:
    """The words of each group, by its id."""
    parts = re.split(r'id="(to-come|here|left|seen|missed)"', page)
    return {name: words_of(part) for name, part in zip(parts[1::2], parts[2::2], strict=True)}


def _form(browser, form_of, code: str, what: str):
    """Where the button of the line leads, and what it sends."""
    line = _line(_main(browser), code)
    action = re.search(rf'action="(/trips/\d+/{what})"', line)[1]
    return action, form_of(line, action)


def _press(browser, form_of, code: str, what: str):
    action, form = _form(browser, form_of, code, what)
    return browser.post(action, data=form)


def test_name_age_eye_and_code_stand_on_the_line_that_marks_an_arrival(day, words_of):
    line = _line(_main(day), "K-104")
    assert 'action="/trips/' in line
    for said in ("Wanjiru Ndegwa", "71-72", "right eye", "K-104"):
        assert said in words_of(line)
    label = re.search(r'aria-label="(Mark arrived[^"]*)"', line)[1]
    assert label == "Mark arrived: Wanjiru Ndegwa, right eye, K-104"


def test_an_arrival_is_one_press_on_the_day_and_is_said_with_its_way_back(day, form_of, words_of):
    answer = _press(day, form_of, "K-104", "arrived")
    assert (answer.status_code, answer.headers["location"]) == (303, "/today?noted=K-104")
    page = _main(day, "/today?noted=K-104")
    said = words_of(page.split('role="status"')[1].split("</div>")[0])
    for part in ("Wanjiru Ndegwa", "71-72", "right eye", "K-104", "Marked as arrived", "Take back"):
        assert part in said
    back = form_of(page, "/patients/K-104/take-back")
    assert day.post("/patients/K-104/take-back", data=back).status_code == 303
    assert "K-104" in _groups(_main(day), words_of)["to-come"]


def test_the_form_of_a_line_counts_once_and_for_its_own_visit_alone(day, form_of):
    (action, form), (other, _) = (_form(day, form_of, code, "arrived") for code in ("K-104", "K-105"))
    assert [day.post(action, data=form).status_code for _ in range(2)] == [303, 303]
    assert day.post(other, data=form).status_code == 422


def test_two_people_of_one_name_are_told_apart_however_the_name_is_written(day, words_of):
    page = _main(day)
    for code in ("K-104", "K-106"):
        assert "shared name" in words_of(_line(page, code))
    assert "shared name" not in words_of(_line(page, "K-105"))


def test_everybody_stands_once_and_in_the_group_that_says_what_is_to_do(day, form_of, words_of):
    _press(day, form_of, "K-105", "arrived")
    _press(day, form_of, "K-104", "arrived")
    _press(day, form_of, "K-104", "left")
    page = _main(day)
    groups = _groups(page, words_of)
    assert "K-106" in groups["to-come"]
    assert "here since" in groups["here"]
    assert "findings: none yet" in groups["here"]
    assert "K-105" in groups["here"]
    assert "K-104" in groups["left"]
    for code in ("K-104", "K-105", "K-106"):
        assert page.count(f'href="/patients/{code}"') == 1
    for counted in ("1 to come", "1 here", "1 left without findings"):
        assert counted in words_of(page)


def test_those_to_come_stand_by_their_hour_and_those_without_one_after_them(day, house):
    with house.store.engine.begin() as database:
        database.execute(text("UPDATE trip SET hour = '09:30' WHERE patient_id = 3 AND day = '2027-03-02'"))
        database.execute(text("UPDATE trip SET hour = '14:00' WHERE patient_id = 2 AND day = '2027-03-02'"))
    found = re.findall(r'href="/patients/(K-\d+)"', _main(day))
    assert found == ["K-106", "K-105", "K-104"]


def test_somebody_who_missed_several_visits_stands_once_with_the_worst(day, house, words_of):
    house.clock.on(30)
    page = _main(house.enter("reception"))
    assert page.count('href="/patients/K-105"') == 1
    said = words_of(_line(page, "K-105"))
    assert "overdue 28 days" in said
    assert "more missed visit" in said


def test_whoever_must_be_seen_now_stands_there_alone(day, form_of, words_of):
    where = "/patients/K-105/walk-in"
    form = form_of(day.get("/patients/K-105").text, where) | {f"sign.{i}": ["no"] for i in range(4)}
    day.post(where, data=form | {"sign.1": ["yes"], "why": ["hurts"]})
    page = _main(day)
    assert "See now" in words_of(page)
    assert page.count("K-105</bdi>") == 1
    assert page.index("See now") < page.index('id="to-come"')


def test_only_reception_marks_and_only_on_the_day_itself(day, house):
    for browser, address in ((house.enter("counsellor"), "/today"), (day, "/today?on=2027-03-08")):
        page = _main(browser, address)
        assert "/patients/K-105" in page
        assert "/arrived" not in page
