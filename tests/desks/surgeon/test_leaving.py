"""The check before leaving has a clock, stands on top until it is noted, and ends with the day."""

from __future__ import annotations

import pytest

PASSWORD = "a long enough password"
PATIENT = "/patients/K-104"
KEY = "right:before-leaving-pressure"


@pytest.fixture
def operated(house, routine, form_of):
    """``operated(**answers)``: an operation of today that ended at 10:00, viscoelastic doubtful; its plan."""
    house.sign_protocol()

    def make(**answers):
        counsellor = house.log_in("counsellor")
        form = form_of(counsellor.get("/operations/new").text) | routine
        form |= {"operations.0.end": ["10:00"], "operations.0.viscoelastic.removed": ["doubtful"]}
        form |= {name.replace("__", "."): [value] for name, value in answers.items()}
        return counsellor.post("/operations/new", data=form).headers["location"]

    return make


def _sheet(house, plan, form_of):
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get(plan).text, f"{plan}/sheets")
    return counsellor.post(f"{plan}/sheets", data=form).headers["location"].removesuffix("/paper.pdf")


def test_the_check_stands_on_top_of_both_lists_with_its_hours_until_it_is_noted(
    house, operated, form_of, words_of
):
    operated()
    for page, heading in (("/operations", "<ul"), ("/today", "Nobody is expected")):
        html = house.log_in("counsellor").get(page).text
        assert "between 13:00 and 17:00" in words_of(html)
        assert html.index("between") < html.rindex(heading)
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get(PATIENT).text, f"{PATIENT}/leaving")
    assert form["key"] == [KEY]
    assert counsellor.post(f"{PATIENT}/leaving", data=form | {"mmhg": ["17"]}).status_code == 303
    for page in ("/operations", "/today", PATIENT):
        assert "between 13:00" not in words_of(house.log_in("counsellor").get(page).text)
    # The measurement is a finding of today like any other.
    assert "17" in words_of(house.log_in("surgeon").get(f"{PATIENT}/eyes/right").text)


def test_hand_over_opens_with_the_check_and_goes_on_from_there(house, operated, form_of, words_of):
    sheet = _sheet(house, operated(), form_of)
    counsellor = house.log_in("counsellor")
    html = counsellor.get(sheet).text
    assert html.index("Before leaving, right eye") < html.index("Return code")
    form = form_of(html, f"{PATIENT}/leaving")
    said = counsellor.post(f"{PATIENT}/leaving", data=form | {"why": ["the device is broken"]})
    assert said.headers["location"] == sheet
    assert "Before leaving" not in words_of(counsellor.get(sheet).text)
    assert "notes this before the patient leaves" not in house.log_in("reception").get(sheet).text


def test_a_high_pressure_leads_to_what_it_asks_for(house, operated, form_of, words_of):
    sheet = _sheet(house, operated(), form_of)
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get(sheet).text, f"{PATIENT}/leaving")
    answer = counsellor.post(f"{PATIENT}/leaving", data=form | {"mmhg": ["34"]})
    assert answer.headers["location"] == f"{PATIENT}/eyes/right/looks/2027-03-01"
    assert "34 mmHg" in words_of(counsellor.get(answer.headers["location"]).text)


@pytest.mark.parametrize(
    ("typed", "status", "said"),
    [
        ({}, 422, "say the pressure, or why"),
        ({"mmhg": "17", "why": "no device"}, 422, "say the pressure, or why"),
        ({"mmhg": "very high"}, 422, "very high is no pressure"),
        ({"mmhg": "nan"}, 422, "nan is no pressure"),
        ({"mmhg": "400"}, 422, "400 is no pressure"),
        ({"key": "left:before-leaving-pressure", "mmhg": "17"}, 404, "not open today"),
    ],
)
def test_what_says_neither_is_refused_in_a_line_and_the_check_stays(
    house, operated, form_of, words_of, typed, status, said
):
    operated()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get(PATIENT).text, f"{PATIENT}/leaving")
    answer = counsellor.post(f"{PATIENT}/leaving", data=form | {k: [v] for k, v in typed.items()})
    assert answer.status_code == status
    assert said in words_of(answer.text)
    assert "between 13:00" in words_of(counsellor.get("/operations").text)


def test_it_ends_with_the_day_of_the_operation(house, operated, form_of, words_of):
    plan = operated(patient__travel__hours="3")
    house.clock.on(1)
    for page in ("/operations", "/today", PATIENT, plan):
        said = words_of(house.log_in("counsellor").get(page).text)
        assert "Before leaving" not in said, page
        assert "stay the night" not in said, page
    assert house.log_in("counsellor").get("/api/leaving").json() == []


def test_the_draft_that_waits_does_not_grow_stale_by_the_measurement(house, operated, form_of, words_of):
    operated()
    counsellor = house.log_in("counsellor")
    sent = {"key": KEY, "mmhg": 18}
    assert [one["key"] for one in counsellor.get("/api/leaving").json()] == [KEY]
    assert house.log_in("reception").post(f"/api{PATIENT}/leaving", json=sent).status_code == 403
    assert counsellor.post(f"/api{PATIENT}/leaving", json=sent).status_code == 200
    assert counsellor.post(f"/api{PATIENT}/leaving", json=sent).status_code == 404
    (waiting,) = house.log_in("surgeon").get("/api/plans/waiting").json()
    assert not house.log_in("surgeon").get(f"/api/plans/{waiting['plan']['id']}").json()["stale"]
