"""Somebody asks to be erased: the manager's page and its JSON, and what an old sheet says afterwards."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from sqlalchemy import text
from two_sites import PASSWORD

from followup.records.people.keeping import keeping_rule

YEARS = timedelta(days=366 * (keeping_rule().years + 1))


@pytest.fixture
def left(house, told_record):
    """K-1, who moved away with a sheet in the hand; the typed code of it."""
    house.sign_protocol()
    counsellor, surgeon = house.enter("counsellor"), house.enter("surgeon")
    plan = counsellor.post("/api/records", json={"record": told_record}).json()["plan"]
    assert surgeon.post(f"/api/plans/{plan}/sign", json={"password": PASSWORD}).status_code == 200
    sheet = counsellor.post(f"/api/plans/{plan}/sheets", json={"printed": 0}).json()
    return house, told_record["patient"]["code"], sheet


@pytest.fixture
def told_record():
    """An uneventful operation, told so far that nothing is asked."""
    who = {"code": "K-1", "name": "Wanjiru Ndegwa", "birth_year": 1955, "language": "en"}
    phone = [{"number": "+44 20 7946 0123"}]
    operation = {
        **{"eye": "right", "eye_drawn": "right", "date": "2027-03-01", "procedure": "phacoemulsification"},
        **{
            "cut_mm": 2.4,
            "stitches": 0,
            "chamber": "normal",
            "viscoelastic": {"removed": "all"},
            "lens": "bag",
        },
    }
    return {
        "patient": who | {"telephones": phone, "drops_by": {"who": "relative"}},
        "operations": [operation],
    }


def _moved_away(house, code):
    told = {"standing": "moved away", "reason": "lives by the sea now"}
    assert house.enter("reception").post(f"/api/patients/{code}/following", json=told).status_code < 300


def _bare(page) -> str:
    return " ".join(re.sub("<[^>]+>", " ", page.text).split())


def test_from_the_question_to_the_sheet_of_somebody_who_is_not_there_any_more(left):
    house, code, sheet = left
    manager = house.enter("manager")
    shown = manager.post("/erase", data={"code": code})
    assert "Nothing can be erased while the patient is followed" in shown.text
    assert 'name="password"' not in shown.text
    _moved_away(house, code)
    shown = manager.post("/erase", data={"code": code.lower()})
    assert "Wanjiru Ndegwa" in shown.text
    assert re.search("is kept until [A-Z][a-z]+ 1 March 2037", _bare(shown))
    wrong = manager.post("/erase", data={"code": code, "password": "wrong"})
    assert (wrong.status_code, "nothing was stored" in wrong.text) == (403, True)
    assert "7946 0123" in house.enter("reception").get(f"/patients/{code}").text
    assert manager.post("/erase", data={"code": code, "password": PASSWORD}).status_code == 303
    assert f"{code} · contact went" in _bare(manager.get("/erase"))
    page = house.enter("reception").get(f"/patients/{code}")
    assert "7946 0123" not in page.text
    assert re.search("record is kept until [A-Z][a-z]+ 1 March 2037", _bare(page))
    # The sheet still opens: the record is there.
    reception = house.enter("reception")
    assert (
        reception.post("/find", data={"text": sheet["code"]}).headers["location"] == f"/found/{sheet['id']}"
    )
    assert manager.post("/erase", data={"code": code, "password": PASSWORD}).status_code == 409

    house.clock.now += YEARS
    manager, reception = house.enter("manager"), house.enter("reception")
    assert "Everything of" in manager.post("/erase", data={"code": code}).text
    assert manager.post("/erase", data={"code": code, "password": PASSWORD}).status_code == 303
    assert "everything went" in manager.get("/erase").text
    told = reception.post("/find", data={"text": sheet["code"]})
    assert (told.status_code, "Its patient asked to be erased" in _bare(told)) == (200, True)
    assert "Wanjiru" not in told.text
    for path in (f"/found/{sheet['id']}", f"/sheets/{sheet['id']}"):
        gone = reception.get(path)
        assert (gone.status_code, "asked to be erased" in gone.text) == (404, True)
    found = reception.post("/api/find", json={"text": sheet["code"]}).json()
    assert (found["sheet"], found["people"], found["erased_at"] is not None) == (None, [], True)


def test_by_program_it_says_the_same_and_the_manager_never_sees_the_record(left):
    house, code, _ = left
    _moved_away(house, code)
    manager = house.enter("manager")
    look = manager.get(f"/api/patients/{code}/erasing").json()
    assert (look["kept_until"], look["record_goes"], look["asked_at"]) == ("2037-03-01", False, None)
    assert [line for line in look["says"] if "7946" in line or "phaco" in line] == []
    opened = manager.get(f"/api/patients/{code}/openings").json()
    assert {one["actor"] for one in opened} == {"manager", "counsellor", "surgeon", "reception"}
    assert opened[0]["actor"] == "manager"
    page = manager.post("/erase", data={"code": code})
    assert "Who opened something of this patient" in page.text
    assert "reception · Monday 1 March" in _bare(page)
    assert manager.get(f"/patients/{code}").status_code == 403
    assert manager.post(f"/api/patients/{code}/erasing", json={"password": "wrong"}).status_code == 403
    done = manager.post(f"/api/patients/{code}/erasing", json={"password": PASSWORD}).json()
    assert done["asked_by"] == "manager"
    (asked,) = manager.get("/api/erasings").json()
    assert (asked["code"], asked["name"]) == (code, "")
    with house.store.read() as session:
        query = text("SELECT action FROM journal WHERE actor = 'manager' AND subject = 'patient:K-1'")
        told = session.execute(query).scalars().all()
    assert told == ["record opened", "patient erased"]
