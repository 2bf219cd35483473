"""A told operation over JSON: read, asked for, stored with its record, and given back word for word."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import followup

CASES = Path(followup.__file__).parent / "demo" / "cases"
TOLD = "Phaco. Cut 2.2 mm. Capsule possibly torn."


@pytest.fixture
def record():
    found = json.loads((CASES / "01-wanjiru.json").read_text())
    return found | {"patient": found["patient"] | {"code": "K-104"}}


@pytest.fixture
def counsellor(house):
    house.sign_protocol()
    return house.log_in("counsellor")


def test_a_text_is_read_with_its_words_and_nothing_is_stored(counsellor):
    answer = counsellor.post("/api/records/read", json={"text": TOLD, "eye": "right"})
    assert answer.status_code == 200, answer.text
    found = {one["field"]: one for one in answer.json()["fields"]}
    cut, torn = found["operation.cut_mm"], found["operation.capsule_torn"]
    assert (cut["kind"], cut["value"]) == ("read", 2.2)
    assert [TOLD[one["start"] : one["end"]] for one in cut["words"]] == ["Cut 2.2 mm"]
    assert (torn["kind"], torn["value"], torn["why"]) == ("doubtful", None, "hedged")
    assert sorted(one["value"] for one in torn["choices"]) == [False, True]
    assert "operation.capsule_torn" not in answer.json()["routine"]


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"text": "", "eye": "right"}, "telling.empty"),
        ({"text": "x" * 900_000, "eye": "right"}, "telling.too-long"),
        ({"text": TOLD, "eye": "both"}, "request.field"),
        ({"text": TOLD}, "request.field"),
        ({"text": TOLD, "eye": "right", "language": "xx"}, "request.field"),
    ],
)
def test_what_is_no_telling_of_one_eye_is_refused_in_one_line(counsellor, sent, code):
    answer = counsellor.post("/api/records/read", json=sent)
    assert (answer.status_code, answer.json()["code"]) == (422, code)


def test_a_record_is_not_stored_before_the_doubtful_field_is_answered(counsellor, record):
    sent = {"record": record, "telling": {"text": TOLD}}
    refused = counsellor.post("/api/records", json=sent)
    assert (refused.status_code, refused.json()["code"]) == (422, "telling.asked")
    assert counsellor.get("/api/patients/K-104/record").status_code == 404
    sent["telling"]["answered"] = ["operation.capsule_torn"]
    assert counsellor.post("/api/records", json=sent).status_code == 201
    (kept,) = counsellor.get("/api/patients/K-104/record").json()["tellings"]
    assert kept == {
        "record_number": 1,
        "eye": "right",
        "day": record["operations"][0]["date"],
        "language": "en",
        "text": TOLD,
        "asked": ["operation.capsule_torn"],
        "told_by": "counsellor",
    }
    correction = {"seen": 1, "record": record, "telling": {"text": "Phaco. Capsule possibly torn, PC."}}
    again = counsellor.put("/api/patients/K-104/record", json=correction)
    assert again.json()["code"] == "telling.asked"
