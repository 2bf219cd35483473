"""The JSON interface: same door as the pages, described by OpenAPI, no fault whatever is sent."""

from __future__ import annotations

import warnings

import pytest
from hypothesis import HealthCheck, given, settings

PASSWORD = "a long enough password"


@pytest.fixture
def tomorrow(house, routine, form_of):
    """A signed routine plan; it is the morning of the first look."""
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    house.clock.on(1, 4)
    return house


def test_a_program_finds_a_patient_and_marks_the_arrival_once(tomorrow):
    browser = tomorrow.log_in("reception")
    assert browser.get("/api/find", params={"text": "ndegwa"}).json()["people"][0]["code"] == "K-104"
    listed = browser.get("/api/visits").json()
    assert [(v["patient"]["name"], v["stands"]) for v in listed] == [("Wanjiru Ndegwa", "due today")]
    for _ in range(2):
        answer = browser.post(f"/api/visits/{listed[0]['id']}/arrived", json={"nonce": "n" * 20})
        assert (answer.status_code, answer.json()["stands"]) == (200, "here")
    later = browser.get("/api/patients/K-104/visits").json()[1]["id"]
    early = browser.post(f"/api/visits/{later}/arrived", json={"nonce": "m" * 20})
    assert (early.status_code, early.json()["code"]) == (422, "trip.early")


def test_the_plan_is_for_those_who_may_see_it(tomorrow):
    assert tomorrow.log_in("reception").get("/api/patients/K-104/plan").status_code == 403
    assert tomorrow.log_in("counsellor").get("/api/patients/K-104/plan").json()["patient"] == "K-104"
    nobody = tomorrow.browser().get("/api/to-reach")
    assert (nobody.status_code, nobody.json()["code"]) == (401, "login.needed")


def test_whatever_is_sent_no_answer_is_a_fault(tomorrow):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import schemathesis

    browser = tomorrow.log_in("reception")
    schema = schemathesis.openapi.from_dict(browser.get("/api/openapi.json").json())
    checked = set()
    for found in schema.get_all_operations():
        operation = found.ok()

        @settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck), database=None)
        def hold(case):
            answer = browser.request(
                case.method,
                case.formatted_path,
                params=case.query or None,
                json=case.body if case.method == "POST" and isinstance(case.body, dict) else None,
            )
            assert answer.status_code < 500, (case.method, case.formatted_path, answer.text)

        given(case=operation.as_strategy())(hold)()
        checked.add(operation.path)
    assert len(checked) == 6
