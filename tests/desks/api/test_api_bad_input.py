"""Bad input over JSON: one problem (RFC 9457) that names the field, and the store as before."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from sqlalchemy import text

PASSWORD = "a long enough password"
TABLES = ("patient", "record_version", "care_plan", "trip", "sheet", "operation_list", "journal")
RECORD = {
    "patient": {"code": "K-104", "name": "Wanjiru Ndegwa", "birth_year": 1955},
    "operations": [
        {"eye": "right", "eye_drawn": "right", "date": "2027-03-01", "procedure": "phacoemulsification"}
    ],
}
KINDS = {"type", "title", "status", "detail", "code", "what", "where", "fix", "fields"}


def _counts(house) -> list[int]:
    with house.store.read() as session:
        return [session.execute(text(f"SELECT count(*) FROM {table}")).scalar_one() for table in TABLES]


def _refused(answer, status):
    """The problem, whose members are those of RFC 9457 section 3.1 and ours."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert set(problem) == KINDS
    assert (problem["status"], problem["type"]) == (status, "about:blank")
    assert problem["what"]
    assert problem["what"] in problem["detail"]
    return problem


@pytest.fixture
def counsellor(house):
    house.sign_protocol()
    return house.log_in("counsellor")


def _with(path, value):
    """The record with one field changed; ``path`` in dots."""
    record = json.loads(json.dumps(RECORD))
    *parents, last = [int(part) if part.isdigit() else part for part in path.split(".")]
    at = record
    for part in parents:
        at = at[part]
    at[last] = value
    return record


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("patient.nickname", "Wan"),
        ("patient.name", ["Wanjiru"]),
        ("patient.name", None),
        ("patient.name", "x" * 5_000),
        ("patient.birth_year", "last century"),
        ("patient.birth_year", 10**30),
        ("patient.code", "<script>"),
        ("patient.telephones", [{"number": "call me"}]),
        ("operations.0.date", "2027-02-30"),
        ("operations.0.date", 20270301),
        ("operations.0.date", "2027-03-01T10:00:00Z"),
        ("operations.0.eye", "both"),
        ("operations.0.cut_mm", 300),
        ("operations.0.pad", "perhaps"),
        ("operations", []),
        ("operations", {"0": {}}),
        ("reviews", [{"eye": "right", "date": "2027-03-02", "pressure": "very high"}]),
    ],
)
def test_a_wrong_field_is_named_and_nothing_is_stored(house, counsellor, path, value):
    before = _counts(house)
    for route in ("/api/records", "/api/records/preview"):
        problem = _refused(counsellor.post(route, json={"record": _with(path, value)}), 422)
        assert any(one["field"].startswith(f"record.{path}") for one in problem["fields"]), problem
    assert _counts(house) == before


def test_what_contradicts_itself_says_how(house, counsellor):
    problem = _refused(
        counsellor.post("/api/records", json={"record": _with("operations.0.eye_drawn", "left")}), 422
    )
    assert "confirm the eye" in problem["what"]
    assert problem["where"] == "record.operations.0"


@pytest.mark.parametrize(
    ("sent", "status", "said"),
    [
        (b"", 422, "body"),
        (b"{", 400, "not valid JSON"),
        (b"null", 422, "body"),
        (b"[]", 422, "group of fields"),
        (b'"record"', 422, "group of fields"),
        (b"[" * 100_000, 400, "not valid JSON"),
        (b'{"record": {}, "record": {}}', 400, "a key stands twice"),
        (b'{"record": NaN}', 400, "NaN is no number"),
        (b'{"record": {"patient": {"name": "a\\u0000b"}}}', 400, "zero byte"),
        (b'{"record": {"a\\u0000": 1}}', 400, "zero byte"),
        (b'{"record": {"patient": {"name": "\\ud800"}}}', 400, "half a character"),
        (b'{"record": "\xff\xfe"}', 400, "not valid JSON"),
        (b'{"record": ' + b"1" * 5_000 + b"}", 400, "not valid JSON"),
        (b"x" * 1_100_000, 413, "too large"),
    ],
)
def test_what_is_no_record_at_all_gets_one_problem(house, counsellor, sent, status, said):
    before = _counts(house)
    answer = counsellor.post("/api/records", content=sent, headers={"content-type": "application/json"})
    assert said in _refused(answer, status)["detail"]
    assert _counts(house) == before


def test_a_body_of_unknown_length_is_bounded_too(house, counsellor):
    parts = (b"x" * 100_000 for _ in range(12))
    answer = counsellor.post("/api/records", content=parts, headers={"content-type": "application/json"})
    _refused(answer, 413)


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", None])
def test_json_under_another_name_is_not_read(house, counsellor, kind):
    """So no form of another site can send it: a browser asks first (WHATWG Fetch, CORS-safelisted types)."""
    body = json.dumps({"record": RECORD}).encode()
    answer = counsellor.post("/api/records", content=body, headers={"content-type": kind} if kind else {})
    _refused(answer, 422)


@pytest.mark.parametrize("headers", [{"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"}])
def test_a_call_from_another_site_changes_nothing(house, counsellor, headers):
    before = _counts(house)
    for method, path in (("POST", "/api/records"), ("PUT", "/api/operations"), ("DELETE", "/api/session")):
        problem = _refused(counsellor.request(method, path, json={"record": RECORD}, headers=headers), 403)
        assert problem["code"] == "request.cross-site"
    assert _counts(house) == before
    assert counsellor.get("/api/session").status_code == 200


TOO_LONG = "/api/visits/" + "1" * 5_000 + "/days"
# Asked as it should be, and nothing there by that name; every other address asks wrongly.
NOT_THERE = {
    "/api/patients/%F0%9F%91%81",
    "/api/patients/%FF%FE",
    "/api/plans/99999999999999999999",
    "/api/nothing-here",
    TOO_LONG,
}


@pytest.mark.usefixtures("database_kind")
@pytest.mark.parametrize(
    "asked",
    [
        "/api/patients/a%00b",
        "/api/patients/a%00b/record",
        "/api/sheets/%00",
        "/api/visits?on=%00",
        "/api/visits?on=2027-03-01&more=%00",
        "/api/patients/%F0%9F%91%81",
        "/api/patients/%FF%FE",
        "/api/plans/99999999999999999999",
        "/api/plans/0",
        "/api/plans/-1",
        "/api/plans/1.5",
        "/api/plans/one",
        "/api/visits?on=2027-13-01",
        "/api/visits?on=0001-01-01",
        "/api/visits?on=99999-01-01",
        "/api/visits?on=1",
        "/api/operations?on=9999-12-31",
        "/api/operations/sheets.pdf?part=0",
        "/api/patients/X/eyes/both",
        "/api/patients/X/eyes/right/looks/yesterday",
        "/api/nothing-here",
        TOO_LONG,
    ],
)
def test_a_strange_address_is_refused_in_words(counsellor, asked):
    _refused(counsellor.get(asked), 404 if asked in NOT_THERE else 422)


@pytest.mark.parametrize(
    "lines",
    [
        [{"code": "K-1", "name": "", "eye": "right"}],
        [{"code": "K-1, K-2", "name": "Two", "eye": "right"}],
        [{"code": "K-1", "name": "One", "eye": "both"}],
        [{"code": "K-1", "name": "One", "eye": "right"}] * 2,
        [{"code": "K-1", "name": "One", "eye": "right"}] * 500,
    ],
)
def test_a_wrong_line_of_the_operation_list_leaves_the_list_as_it_was(house, counsellor, lines):
    good = {"on": "2027-03-01", "lines": [{"code": "K-9", "name": "Nine", "eye": "left"}]}
    assert counsellor.put("/api/operations", json=good).status_code == 200
    before = _counts(house)
    for method in ("PUT", "POST"):
        _refused(
            counsellor.request(method, "/api/operations", json={"on": "2027-03-01", "lines": lines}), 422
        )
    assert _counts(house) == before


def test_the_other_eye_than_on_the_list_is_refused(house, counsellor):
    listed = {"on": "2027-03-01", "lines": [{"code": "K-104", "name": "Wanjiru Ndegwa", "eye": "left"}]}
    counsellor.put("/api/operations", json=listed)
    before = _counts(house)
    shown = counsellor.post("/api/records/preview", json={"record": RECORD}).json()["listed"]
    assert [one["result"] for one in shown] == ["other eye"]
    assert _refused(counsellor.post("/api/records", json={"record": RECORD}), 422)["code"] == "record.eye"
    assert _counts(house) == before


def test_wrong_passwords_are_counted_and_lock_as_on_the_page(house):
    browser = house.browser()
    for _ in range(5):
        answer = browser.post("/api/session", json={"login": "surgeon", "password": "guess"})
        assert _refused(answer, 401)["code"] == "login.refused"
        house.clock.now += timedelta(seconds=20)
    right = browser.post("/api/session", json={"login": "surgeon", "password": PASSWORD})
    assert _refused(right, 429)["code"] == "login.wait"
    assert browser.get("/api/session").status_code == 401


def test_a_fault_of_the_program_shows_no_inside(house, counsellor, monkeypatch):
    def broken(*_given):
        raise RuntimeError("secret inside")

    monkeypatch.setattr("followup.desks.api.operations.operations_on", broken)
    problem = _refused(counsellor.get("/api/operations"), 500)
    assert problem["code"] == "program.fault"
    assert "secret" not in json.dumps(problem)
