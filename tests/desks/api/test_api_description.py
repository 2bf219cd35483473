"""The description of the JSON interface is true: whatever is sent, no answer is a fault or undescribed.

OpenAPI 3.1 (spec.openapis.org), RFC 9457 for failures; the cases come from Schemathesis.
"""

from __future__ import annotations

import copy
import warnings
from functools import cache

import pytest
from doors import EVERYBODY, ROLES, WHO_MAY
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from followup.desks.api.description import document

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import schemathesis
    from schemathesis import GenerationMode
    from schemathesis.checks import not_a_server_error
    from schemathesis.specs.openapi.checks import (
        content_type_conformance,
        response_headers_conformance,
        response_schema_conformance,
        status_code_conformance,
    )

PASSWORD = "a long enough password"
# Worked out when a test asks, not when tests are counted.
described = cache(document)
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    response_headers_conformance,
]
RECORD = {
    "patient": {"code": "K-104", "name": "Wanjiru Ndegwa", "birth_year": 1955, "language": "en"},
    "operations": [
        {"eye": "right", "eye_drawn": "right", "date": "2027-03-01", "procedure": "phacoemulsification"}
    ],
}
# Each a sheet that is set and drawn.
SLOW = ("draft.pdf", "sheets", "paper.pdf", "phone.html", "sheets.pdf", "taught", "handed-over", "{sheet}")


@pytest.fixture
def clinic(house):
    """Two patients, one with a plan in force whose sheet is printed and a look, one who is asked about."""
    house.sign_protocol()
    roles = ("counsellor", "reception", "surgeon", "pharmacy", "manager")
    browsers = {role: house.log_in(role) for role in roles}
    counsellor, surgeon = browsers["counsellor"], browsers["surgeon"]
    surely = RECORD["operations"][0] | {"viscoelastic": {"removed": "all"}, "chamber": "normal"}
    plan = counsellor.post("/api/records", json={"record": RECORD | {"operations": [surely]}}).json()["plan"]
    assert surgeon.post(f"/api/plans/{plan}/sign", json={"password": PASSWORD}).status_code == 200
    sheet = counsellor.post(f"/api/plans/{plan}/sheets", json={"printed": 0}).json()["id"]
    other = RECORD | {"patient": RECORD["patient"] | {"code": "K-105"}}
    asks = counsellor.post("/api/records", json={"record": other}).json()["plan"]
    person = {
        "login": "asha",
        "name": "Asha Rao",
        "roles": ["reception"],
        "new_password": PASSWORD,
        "password": PASSWORD,
    }
    waits = person | {"login": "nila", "roles": ["reception", "counsellor"]}
    for one in (person, waits):
        assert browsers["manager"].post("/api/staff", json=one).status_code == 201
    (asked,) = browsers["manager"].get("/api/roles").json()
    house.clock.on(1, 9)
    house.log_in("counsellor")
    browsers = {role: house.log_in(role) for role in roles}
    log_ins = browsers["counsellor"].get("/api/sessions").json()
    look = {"eye": "right", "date": "2027-03-02", "cells": "2+", "flare": "1+", "pressure": 18}
    walk_in = {"nonce": "w" * 20, "signs": ["pain"], "why": "it hurts"}
    assert browsers["reception"].post("/api/patients/K-105/walk-in", json=walk_in).status_code == 200
    (alert,) = browsers["reception"].get("/api/alerts").json()
    path = "/api/patients/K-104/eyes/right/findings"
    assert browsers["counsellor"].post(path, json={"seen": 1, "look": look}).status_code == 200
    trips = [v["id"] for v in browsers["reception"].get("/api/patients/K-104").json()["visits"]]
    known = {"code": ["K-104", "K-105"], "plan": [plan, asks], "other": [plan, asks], "sheet": [sheet]}
    known |= {"trip": trips, "eye": ["right"], "on": ["2027-03-02"], "login": ["asha"], "message": [1]}
    waits = browsers["pharmacy"].get("/api/bottles/waiting").json()
    bottles = [one["key"] for who in (*waits["today"], *waits["before"]) for one in who["bottles"]]
    known |= {"alert": [alert["id"]], "bottle": bottles, "asked": [asked["id"]]}
    known["session"] = [one["name"] for one in log_ins if not one["here"]]
    return house, browsers, known


# What a log-in that ended answers, and the wrong password that ended it.
ENDED = (401, 403)
# What gets a call further than its first check.
TRUE = {"password": PASSWORD, "printed": 1, "seen": 2, "course": "right:steroid", "record": RECORD}
TRUE |= {"shown": [0], "counts": {"dexamethasone-0-1": 4}, "day": "2027-03-08", "name": "Asha Rao"}
TRUE |= {"language": "en"}
ASKED = {"day": "2027-03-02", "on": "2027-03-01", "code": "K-104"}


def _truly(case, known, draw):
    """The case with names and numbers that there are."""
    for name in case.path_parameters or {}:
        case.path_parameters[name] = draw(st.sampled_from(known[name]))
    for name in case.query or {}:
        case.query[name] = ASKED.get(name, case.query[name])
    if isinstance(case.body, dict):
        # The same name may hold a day or a person elsewhere.
        fits = {name: true for name, true in TRUE.items() if type(case.body.get(name)) is type(true)}
        case.body = case.body | fits
        if "plans" in case.body:
            case.body["plans"] = known["plan"]
        if "bottles" in case.body:
            case.body |= {"plan": known["plan"][0], "bottles": known["bottle"]}


def _send(browser, case):
    sent = case.as_transport_kwargs(base_url="http://clinic.test")
    headers = {name: value for name, value in sent["headers"].items() if name.lower() != "cookie"}
    body = {"json": sent["json"]} if "json" in sent else {}
    if isinstance(sent.get("data"), bytes | str):
        body = {"content": sent["data"]}
    return browser.request(sent["method"], sent["url"], headers=headers, params=sent.get("params"), **body)


def _is_out(browser):
    return browser.get("/api/session").status_code == 401


def _open(description):
    """The description without its log-in, so that no case is spent on leaving out the cookie."""
    found = copy.deepcopy(description)
    found["components"].pop("securitySchemes")
    for methods in found["paths"].values():
        for one in methods.values():
            del one["security"]
    return found


def _try(operation, house, browsers, role, known):
    """Send cases of an operation, right ones and wrong ones; the statuses that came back.

    Whoever typed a wrong password too often, or ended the own log-in, logs in again.
    """
    raw, statuses = operation.definition.raw, set()

    def hold(case, data, truly):
        if truly:
            _truly(case, known, data.draw)
        answer = _send(browsers[role], case)
        statuses.add(answer.status_code)
        if (answer.status_code in ENDED or "session" in operation.path) and _is_out(browsers[role]):
            browsers[role] = house.enter(role)
        case.validate_response(answer, checks=CHECKS)

    modes = [GenerationMode.POSITIVE]
    if raw.get("requestBody") or raw.get("parameters"):
        modes.append(GenerationMode.NEGATIVE)
    for mode in modes:
        cases = operation.as_strategy(generation_mode=mode)
        some = settings(
            max_examples=2 if operation.path.endswith(SLOW) else 8,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            database=None,
        )
        some(given(case=cases, data=st.data(), truly=st.sampled_from((True, True, False)))(hold))()
    return statuses


# On the server alone: it is the stricter of the two, and what differs is tested in the records' room.
@pytest.mark.long
@pytest.mark.parametrize("database_kind", ["postgresql"])
def test_whatever_is_sent_the_answer_is_as_described_and_never_a_fault(clinic, database_kind):
    house, browsers, known = clinic
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        schema = schemathesis.openapi.from_dict(_open(described()))
        operations = [found.ok() for found in schema.get_all_operations()]
    statuses, well = {}, 0
    # Ending a plan and logging out come last: they end what the others need.
    for operation in sorted(operations, key=lambda one: (one.method == "delete", one.path.endswith("/end"))):
        role = next(r for r in browsers if r in operation.definition.raw["x-roles"])
        found = _try(operation, house, browsers, role, known)
        statuses[operation.method, operation.path] = found
        well += any(status < 300 for status in found)
    assert len(statuses) == len(operations)
    # Most calls got past every refusal at least once, else little of the program was reached.
    assert well > 0.6 * len(operations), {key: found for key, found in statuses.items() if min(found) >= 300}


def test_every_operation_is_described_with_its_roles_its_failures_and_a_sentence():
    operations = {
        (method.upper(), path): one
        for path, methods in described()["paths"].items()
        for method, one in methods.items()
    }
    told = {key for key in WHO_MAY if key[1].startswith("/api/") and key[1] != "/api/openapi.json"}
    assert set(operations) == told
    for key, one in operations.items():
        who = {*ROLES, "anonymous"} if EVERYBODY in WHO_MAY[key] else WHO_MAY[key]
        assert one["x-roles"] == sorted(who), key
        assert one["description"].endswith(".")
        assert {"401", "403", "422"} <= set(one["responses"])
        for status, answer in one["responses"].items():
            kinds = set(answer.get("content", {}))
            assert kinds == {"application/problem+json"} if int(status) >= 400 else "problem" not in kinds


def test_the_page_for_people_names_every_operation_and_loads_nothing_from_elsewhere(house, words_of):
    page = house.log_in("pharmacy").get("/api")
    words = words_of(page.text)
    assert all(path in words for path in described()["paths"])
    assert "http" not in page.text.replace("http://www.w3.org", "")
    assert house.browser().get("/api").status_code == 303
