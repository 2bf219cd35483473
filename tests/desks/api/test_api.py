"""The JSON interface: what the pages do, over JSON alone; each shows on the other."""

from __future__ import annotations

import pytest
from uneventful import uneventful

PASSWORD = "a long enough password"
KEY = "k" * 20


@pytest.fixture
def record():
    """An uneventful operation, told so far that nothing is asked."""
    return {
        "patient": {
            "code": "K-104",
            "name": "Wanjiru Ndegwa",
            "birth_year": 1955,
            "language": "en",
            "telephones": [{"number": "+44 20 7946 0123"}],
            "drops_by": {"who": "relative"},
        },
        "operations": [uneventful("2027-03-01")],
    }


class _Desks:
    """Somebody at each desk, logged in over JSON; again once the clock was moved, as a session ends."""

    def __init__(self, house):
        self._house, self._known = house, {}

    def __getitem__(self, role):
        key = role, self._house.clock.now
        if key not in self._known:
            browser = self._known[key] = self._house.browser()
            answer = browser.post("/api/session", json={"login": role, "password": PASSWORD})
            assert (answer.status_code, answer.json()["roles"]) == (201, [role])
        return self._known[key]


@pytest.fixture
def desks(house):
    house.sign_protocol()
    return _Desks(house)


@pytest.fixture
def say(desks):
    """Calls the interface as a role: ``say("surgeon", "GET /plans/1")``; the JSON of the answer."""

    def call(role, what, *, status=200, **sent):
        method, path = what.split()
        answer = desks[role].request(method, f"/api{path}", json=sent or None)
        assert answer.status_code == status, answer.text
        return answer.json() if answer.content else None

    return call


@pytest.fixture
def signed(say, record):
    """A plan in force."""
    plan = say("counsellor", "POST /records", record=record, status=201)["plan"]
    return say("surgeon", f"POST /plans/{plan}/sign", password=PASSWORD)["about"]


def test_from_the_record_to_a_changed_plan_over_json_alone(house, desks, say, record, words_of):
    line = {"code": "K-104", "name": "Wanjiru Ndegwa", "eye": "right"}
    say("counsellor", "POST /operations", on="2027-03-01", lines=[line])
    looked = say("counsellor", "POST /records/preview", record=record)
    assert [check["result"] for check in looked["listed"]] == ["agrees"]
    assert looked["facts"]
    assert "Wanjiru" not in desks["reception"].post("/find", data={"text": "K-104"}).text

    stored = say("counsellor", "POST /records", record=record, status=201)
    assert stored["signable"]
    assert words_of(desks["counsellor"].get(f"/plans/{stored['plan']}").text)
    assert say("surgeon", "GET /plans/waiting")[0]["together"]
    plan = say("surgeon", f"POST /plans/{stored['plan']}/sign", password=PASSWORD)
    assert plan["about"]["status"] == "active"
    assert plan["body"]["courses"][0]["reasons"][0]["because"]

    sheet = say("counsellor", f"POST /plans/{stored['plan']}/sheets", printed=0)
    pdf = desks["counsellor"].get(f"/api/sheets/{sheet['id']}/paper.pdf")
    assert (pdf.headers["content-type"], pdf.content[:5]) == ("application/pdf", b"%PDF-")
    teach = say("counsellor", f"GET /sheets/{sheet['id']}")["teach"]
    told = say("counsellor", f"POST /sheets/{sheet['id']}/taught", shown=list(range(len(teach))))
    assert len(told["shown"]) == len(teach)
    say("counsellor", f"POST /sheets/{sheet['id']}/handed-over", to="her daughter")
    assert "her daughter" in words_of(desks["counsellor"].get(f"/sheets/{sheet['id']}").text)

    house.clock.on(1, 4)
    found = say("reception", "POST /find", text=sheet["code"])
    assert (found["current"], found["people"][0]["name"]) == (True, "Wanjiru Ndegwa")
    visit = say("reception", "GET /visits")[0]
    assert visit["stands"] == "due today"
    assert say("reception", f"POST /visits/{visit['id']}/arrived", nonce=KEY)["stands"] == "here"
    assert "here since" in words_of(desks["reception"].get("/today").text)

    eye = say("counsellor", "GET /patients/K-104/eyes/right")
    look = {"eye": "right", "date": "2027-03-02", "cells": "3+", "flare": "2+", "pressure": 15, "pain": "no"}
    say("counsellor", "POST /patients/K-104/eyes/right/findings", seen=eye["seen"], look=look)
    leads = say("surgeon", "GET /patients/K-104/eyes/right/looks/2027-03-02")
    assert leads["look"]["by"] == "Counsellor"
    assert "3+" in words_of(desks["surgeon"].get("/patients/K-104/eyes/right").text)

    again = say("surgeon", f"POST /plans/{stored['plan']}/again")
    change = {
        "course": "right:steroid",
        "starts": "2027-03-03",
        "steps": [{"times_a_day": 8, "days": 7}, {"times_a_day": 4, "days": 14}],
        "reason": "more cells than expected",
    }
    said = say("surgeon", f"POST /plans/{again['about']['id']}/steps/effect", **change)
    assert said["sentences"]
    draft = say("surgeon", f"POST /plans/{again['about']['id']}/steps", **change)
    assert draft["edits"][0]["reason"] == "more cells than expected"
    new = say("surgeon", f"POST /plans/{draft['about']['id']}/sign", password=PASSWORD, reason="more cells")
    assert new["in_force"] == draft["about"]["id"]
    old = say("reception", "POST /find", text=sheet["code"])
    assert (old["sheet"]["replaced"], old["current"]) == (True, False)
    differs = say("surgeon", f"GET /plans/{new['about']['id']}/against/{stored['plan']}")
    assert differs
    assert say("surgeon", "DELETE /session", status=204) is None
    assert say("surgeon", "GET /session", status=401)["code"] == "login.needed"


def test_what_a_page_stores_a_program_sees(house, desks, say, routine, form_of):
    counsellor = desks["counsellor"]
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    assert say("counsellor", "GET /patients/K-104/record")["record"]["patient"]["name"] == "Wanjiru Ndegwa"
    assert desks["surgeon"].post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    assert say("counsellor", f"GET {plan}")["about"]["signed_by"] == "Dr Sen"
    printed = (
        counsellor.post(f"{plan}/sheets", data={"issue": "0"}).headers["location"].removesuffix("/paper.pdf")
    )
    assert say("reception", f"GET {printed}")["current"]
    house.clock.on(1, 4)
    visit = say("reception", "GET /visits")[0]
    sent = desks["reception"].post(f"/trips/{visit['id']}/arrived", data={"nonce": KEY})
    assert sent.status_code == 303
    assert say("reception", "GET /patients/K-104")["visits"][0]["stands"] == "here"


def test_whatever_is_sent_twice_counts_once(house, desks, say, record, signed):
    assert say("counsellor", "POST /records", record=record, status=201)["plan"] == signed["id"]
    assert say("surgeon", f"POST /plans/{signed['id']}/sign", password=PASSWORD)["about"] == signed
    sheets = [say("counsellor", f"POST /plans/{signed['id']}/sheets", printed=0) for _ in range(2)]
    assert sheets[0] == sheets[1]
    more = say("counsellor", f"POST /plans/{signed['id']}/sheets", printed=1, status=422)
    assert more["code"] == "sheet.reason"
    second = say("counsellor", f"POST /plans/{signed['id']}/sheets", printed=1, reason="got wet")
    assert second["issue"] == 2
    house.clock.on(1, 4)
    visit = say("reception", "GET /visits")[0]["id"]
    for _ in range(2):
        say("reception", f"POST /visits/{visit}/arrived", nonce=KEY)
    for _ in range(2):
        say("reception", "POST /patients/K-104/walk-in", nonce="w" * 20, signs=["pain"], why="a red eye")
    assert len([v for v in say("reception", "GET /visits") if v["stands"] == "here"]) == 2
    lines = [{"code": "Q-1", "name": "Li Wei", "eye": "left"}]
    for _ in range(2):
        listed = say("counsellor", "POST /operations", on="2027-03-05", lines=lines)
    assert [line["code"] for line in listed] == ["Q-1"]


def test_of_two_the_second_is_told_and_stores_nothing(say, record, signed):
    other = record | {"patient": record["patient"] | {"lives_alone": True}}
    say("counsellor", "PUT /patients/K-104/record", seen=1, record=other)
    third = record | {"patient": record["patient"] | {"can_read": False}}
    late = say("counsellor", "PUT /patients/K-104/record", seen=1, record=third, status=409)
    assert (late["code"], late["status"]) == ("record.changed", 409)
    assert say("counsellor", "GET /patients/K-104/record")["number"] == 2
    taken = say("counsellor", "POST /records", record=third, status=409)
    assert (taken["code"], taken["where"]) == ("record.exists", "patient.code")


def test_a_question_is_answered_by_the_name_that_the_plan_gives(say, record):
    del record["operations"][0]["viscoelastic"]
    stored = say("counsellor", "POST /records", record=record, status=201)
    assert not stored["signable"]
    plan = say("surgeon", f"GET /plans/{stored['plan']}")
    field = plan["asked"][0]["fields"][0]
    assert (field["name"], field["choices"]) == ("operations.0.viscoelastic.removed", ["all", "doubtful"])
    path = f"POST /plans/{stored['plan']}/answers"
    strange = say("surgeon", path, seen=1, answers={"patient.name": ["Someone Else"]}, status=422)
    assert strange["code"] == "answers.field"
    wrong = say("surgeon", path, seen=1, answers={field["name"]: ["some"]}, status=422)
    assert wrong["fields"][0]["field"] == field["name"]
    answered = say("surgeon", path, seen=1, answers={field["name"]: ["all"]})
    assert (answered["about"]["signable"], answered["asked"]) == (True, [])
    late = say("surgeon", path, seen=1, answers={field["name"]: ["doubtful"]}, status=409)
    assert late["code"] == "record.changed"


def test_several_plans_are_signed_together_and_one_that_fails_stops_no_other(say, record):
    first = say("counsellor", "POST /records", record=record, status=201)["plan"]
    record["patient"]["code"] = "K-105"
    del record["operations"][0]["viscoelastic"]
    asks = say("counsellor", "POST /records", record=record, status=201)["plan"]
    wrong = say("surgeon", "POST /plans/sign", plans=[first, asks], password="not mine at all", status=403)
    assert wrong["code"] == "password.wrong"
    done = say("surgeon", "POST /plans/sign", plans=[first, asks, 4711], password=PASSWORD)
    assert (done["signed"], [line["plan"] for line in done["not_signed"]]) == (1, [asks, 4711])


def test_proposals_are_followed_or_refused_with_a_reason(house, say, signed):
    house.clock.on(7)
    look = {
        "eye": "right",
        "date": "2027-03-08",
        "cells": "2+",
        "flare": "2+",
        "pressure": 18,
        "vision": "6/12",
    }
    signs = ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin")
    look |= dict.fromkeys(signs, "no")
    path = "/patients/K-104/eyes/right"
    other = say("counsellor", f"POST {path}/findings", seen=1, look=look | {"eye": "left"}, status=422)
    assert other["code"] == "findings.eye"
    leads = say("counsellor", f"POST {path}/findings", seen=1, look=look)
    proposals = leads["outcome"]["proposals"]
    assert proposals
    assert all(one["reasons"] for one in proposals)
    chosen = next(one for one in proposals if any("steps" in a for a in one["adjustments"]))
    at = f"{path}/looks/2027-03-08"
    choice = {"take": [chosen["id"]], "reason": "as proposed", "seen": leads["plan_number"]}
    assert say("surgeon", f"POST {at}/effect", **choice)["sentences"]
    say("surgeon", f"POST {at}/refuse", reason="wait for tomorrow", status=204)
    plan = say("surgeon", f"POST {at}/take", **choice)["plan"]
    assert say("surgeon", f"GET /plans/{plan}")["edits"]
    late = say("surgeon", f"POST {at}/take", **choice, status=409)
    assert late["code"] == "plan.changed"
    assert say("surgeon", "GET /my-patients")["inflamed"][0]["patient"]["code"] == "K-104"


def test_a_visit_is_moved_only_to_a_day_that_its_window_offers(say, signed):
    visits = say("reception", "GET /patients/K-104")["visits"]
    last = visits[-1]
    offered = say("reception", f"GET /visits/{last['id']}/days")
    assert offered["because"]
    day = next(d["day"] for d in offered["days"] if d["possible"] and d["away"] > 0)
    moved = say("reception", f"POST /visits/{last['id']}/move", day=day)
    assert moved["day"] == day
    outside = say("reception", f"POST /visits/{last['id']}/move", day="2029-01-01", status=422)
    assert outside["code"] == "trip.window"
    assert say("reception", f"POST /visits/{last['id']}/book")["status"] == "booked"


def test_whoever_stays_away_is_called_and_the_answer_is_kept(house, desks, say, signed):
    house.clock.on(20)
    reach = next(one for one in say("reception", "GET /to-reach") if one["kind"] == "overdue")
    assert reach["patient"]["telephones"][0]["number"] == "+44 20 7946 0123"
    call = say("reception", "GET /patients/K-104/call")
    assert call["script"]
    attempt = {"nonce": KEY, "way": call["way"], "outcome": "will come", "promised": "2027-03-22"}
    assert say("reception", "POST /patients/K-104/attempts", **attempt)["promised"] == "2027-03-22"
    wrong = say("reception", "POST /patients/K-104/attempts", **attempt | {"way": "surgeon"}, status=200)
    assert wrong["way"] == call["way"]
    noted = say("reception", "GET /patients/K-104")["noted"]
    say("reception", "POST /patients/K-104/take-back", entry=noted[0]["entry"], status=204)
    assert say("reception", "GET /patients/K-104/call")["tried"] == []
    say(
        "reception",
        "POST /patients/K-104/following",
        standing="moved away",
        reason="to the coast",
        status=204,
    )
    assert say("reception", "GET /not-followed")[0]["reason"] == "to the coast"


def test_a_patient_agrees_to_messages_and_stops_them(say, signed):
    assert not say("reception", "GET /patients/K-104/messages")["asked"]
    say("reception", "PUT /patients/K-104/messages", consent=True, reader="carer", channel="paper")
    stored = say("counsellor", "GET /patients/K-104/messages")
    assert (stored["consent"], stored["reader"], stored["stopped_at"]) == (True, "carer", None)
    say("reception", "DELETE /patients/K-104/messages", status=204)
    assert say("reception", "GET /patients/K-104/messages")["stopped_at"]


def test_pharmacy_and_manager_see_and_set_what_their_pages_show(house, desks, say, signed):
    shelf = say("pharmacy", "GET /bottles")
    first = shelf["medicines"][0]
    counted = say("pharmacy", "POST /bottles/counts", counts={first["medicine"]: 0})
    assert counted["medicines"][0]["missing"] == first["week"]
    days = say("manager", "GET /forecast")
    assert (len(days), sum(day["visits"] for day in days) > 0) == (56, True)
    assert [tier["tier"] for tier in say("surgeon", "GET /outcomes")["tiers"]] == ["A", "B", "C"]
    found = say("manager", "GET /calendar")
    new = found["calendar"] | {"holidays": ["2027-12-24"]}
    say("manager", "PUT /calendar", calendar=new, seen=found["seen"], status=204)
    assert "Friday 24 December" in desks["manager"].get("/calendar").text
    late = say("manager", "PUT /calendar", calendar=new, seen=found["seen"], status=409)
    assert late["code"] == "store.conflict"
    person = {
        "login": "asha",
        "name": "Asha Rao",
        "roles": ["reception"],
        "new_password": PASSWORD,
        "password": PASSWORD,
    }
    assert say("manager", "POST /staff", **person, status=201)["active"]
    assert not say("manager", "PUT /staff/asha", roles=["reception"], active=False, password=PASSWORD)[
        "active"
    ]
    mine = say(
        "manager", "PUT /staff/manager", roles=["reception"], active=True, password=PASSWORD, status=422
    )
    assert mine["code"] == "staff.self"
    assert say("manager", "GET /messages") == []


def test_one_sets_ones_own_password_and_the_session_ends(house, say, desks):
    say("pharmacy", "PUT /session/password", old=PASSWORD, new="another long enough one", status=204)
    assert say("pharmacy", "GET /bottles", status=401)["code"] == "login.needed"
    refused = house.browser().post("/api/session", json={"login": "pharmacy", "password": PASSWORD})
    assert (refused.status_code, refused.json()["code"]) == (401, "login.refused")


def test_the_pages_before_printing_and_the_sheets_of_a_day_come_as_pdf(say, desks, signed):
    draft = desks["counsellor"].get(f"/api/plans/{signed['id']}/draft.pdf?size=large&paper=A5&twin=fr")
    assert draft.content[:5] == b"%PDF-"
    none = say("counsellor", "GET /operations/sheets.pdf?on=2027-03-01", status=422)
    assert none["code"] == "batch.none"
    assert say("counsellor", "POST /operations/sheets?on=2027-03-01", status=204) is None
    whole = desks["counsellor"].get("/api/operations/sheets.pdf?on=2027-03-01")
    assert whole.content[:5] == b"%PDF-"
    sheet = say("counsellor", "GET /patients/K-104")["sheets"][0]["id"]
    phone = desks["counsellor"].get(f"/api/sheets/{sheet}/phone.html")
    assert "default-src 'none'" in phone.headers["content-security-policy"]


def test_a_photo_of_the_sheet_is_read_and_another_is_told(say, desks, signed):
    answer = desks["reception"].post(
        "/api/photo", content=b"no picture", headers={"content-type": "application/octet-stream"}
    )
    assert (answer.status_code, answer.headers["content-type"]) == (422, "application/problem+json")
