"""Who makes whom what: a second person grants roles of medicine, and nobody signs by another's password."""

from __future__ import annotations

from datetime import timedelta

import pytest

from followup.records.house.asked_roles import TOLD_FOR
from followup.records.house.staff import add_staff, staff_by_login
from followup.records.store.journal import journal_of
from followup.records.views import SYSTEM

PASSWORD = "a long enough password"
OTHERS = "given by somebody else"
OWN = "chosen by its owner alone"


def _hire(house, login: str, *roles: str, password: str = PASSWORD) -> None:
    with house.store.write(SYSTEM, house.clock.now) as unit:
        hashed = house.desk.passwords.hash(password)
        add_staff(unit, login=login, name=login.title(), roles=roles, password_hash=hashed, registration="R")


def _leave(house, *logins: str) -> None:
    """They work here no more."""
    for login in logins:
        sent = {"roles": [login], "active": False, "password": PASSWORD}
        assert house.log_in("manager", PASSWORD).put(f"/api/staff/{login}", json=sent).status_code == 200


def _roles(house, login: str) -> frozenset[str]:
    with house.store.read() as session:
        return staff_by_login(session, login).roles


def _told(house, login: str) -> list[str]:
    with house.store.read() as session:
        return [one.action for one in journal_of(session, f"staff:{login}")]


def _asks(house, login: str, *roles: str, by: str = "manager", api: bool = True) -> None:
    sent = {"roles": list(roles), "active": True, "password": PASSWORD}
    browser = house.log_in(by, PASSWORD)
    if api:
        assert browser.put(f"/api/staff/{login}", json=sent).status_code == 200
    else:
        assert browser.post(f"/staff/{login}", data=sent | {"active": "yes"}).status_code == 303


def _number(house, by: str = "manager") -> int:
    (one,) = house.enter(by).get("/api/roles").json()
    return one["id"]


@pytest.mark.parametrize("api", [False, True], ids=["page", "program"])
@pytest.mark.parametrize("role", ["surgeon", "counsellor"])
def test_a_manager_makes_nobody_and_not_himself_one_of_medicine_alone(house, words_of, role, api):
    _asks(house, "manager", "manager", role, api=api)
    _asks(house, "reception", "reception", role, api=api)
    assert (_roles(house, "manager"), _roles(house, "reception")) == ({"manager"}, {"reception"})
    assert [one["roles"] for one in house.enter("manager").get("/api/roles").json()] == [[role]] * 2
    assert house.log_in("manager", PASSWORD).get("/operations").status_code == 403
    page = words_of(house.log_in("manager", PASSWORD).get("/staff").text)
    assert "asked for by Manager" in page
    assert "waits for a second person" in page
    assert "role asked for" in _told(house, "manager")


def test_roles_that_read_and_write_no_record_need_nobody_else(house):
    _asks(house, "reception", "pharmacy", "manager")
    assert _roles(house, "reception") == {"pharmacy", "manager"}
    _asks(house, "counsellor", "reception")
    assert _roles(house, "counsellor") == {"reception"}, "a role is taken away by one alone"


@pytest.mark.parametrize("who", ["surgeon", "ines"])
@pytest.mark.parametrize("api", [False, True], ids=["page", "program"])
def test_a_second_person_grants_by_one_press(house, who, api):
    _hire(house, "ines", "manager")
    _asks(house, "reception", "reception", "counsellor")
    number, browser = _number(house), house.log_in(who, PASSWORD)
    assert "/roles" in browser.get("/waiting" if who == "surgeon" else "/forecast").text
    if api:
        sent = {"grant": True, "password": PASSWORD}
        assert browser.post(f"/api/roles/{number}", json=sent).json()["roles"] == ["counsellor"]
    else:
        sent = {"grant": "yes", "password": PASSWORD}
        assert f'action="/roles/{number}"' in browser.get("/roles").text
        assert browser.post(f"/roles/{number}", data=sent).status_code == 303
    assert _roles(house, "reception") == {"reception", "counsellor"}
    assert "role granted" in _told(house, "reception")
    again = browser.post(f"/api/roles/{number}", json={"grant": False, "password": PASSWORD})
    assert (again.status_code, again.json()["code"]) == (409, "asked.decided")


def test_who_was_switched_off_and_comes_back_is_made_one_of_medicine_anew(house):
    """Else a manager signs under the name of a surgeon who left, with a password of his own choosing."""
    _hire(house, "ines", "manager")
    _leave(house, "surgeon")
    _asks(house, "surgeon", "surgeon")
    assert _roles(house, "surgeon") == set()
    browser = house.log_in("ines", PASSWORD)
    assert browser.post(f"/api/roles/{_number(house)}", json={"grant": True, "password": PASSWORD}).is_success
    assert _roles(house, "surgeon") == {"surgeon"}
    assert house.log_in("surgeon", PASSWORD)
    _leave(house, "reception")
    _asks(house, "reception", "reception")
    assert _roles(house, "reception") == {"reception"}


def test_one_s_own_password_withdraws_nothing_that_was_asked_for(house):
    _asks(house, "reception", "reception", "counsellor")
    sent = {"old": PASSWORD, "new": OWN}
    assert house.log_in("reception", PASSWORD).put("/api/session/password", json=sent).status_code == 204
    assert _number(house)


def test_what_is_not_wished_any_more_is_withdrawn(house):
    _asks(house, "reception", "reception", "counsellor")
    _asks(house, "reception", "reception", "counsellor")
    number = _number(house)
    _asks(house, "reception", "reception")
    assert house.enter("manager").get("/api/roles").json() == []
    answer = house.log_in("surgeon").post(f"/api/roles/{number}", json={"grant": True, "password": PASSWORD})
    assert answer.json()["code"] == "asked.decided"
    assert _roles(house, "reception") == {"reception"}


def test_what_is_refused_gives_nothing_and_waits_no_more(house):
    _asks(house, "reception", "reception", "counsellor")
    number = _number(house)
    assert house.log_in("surgeon", PASSWORD).post(
        f"/roles/{number}", data={"grant": "no", "password": PASSWORD}
    )
    assert _roles(house, "reception") == {"reception"}
    assert house.enter("manager").get("/api/roles").json() == []
    assert "role refused" in _told(house, "reception")


def test_neither_who_asked_nor_whom_it_concerns_is_the_second_person(house, words_of):
    _hire(house, "ines", "manager")
    _asks(house, "ines", "manager", "surgeon")
    number = _number(house)
    for who in ("manager", "ines"):
        browser = house.log_in(who, PASSWORD)
        answer = browser.post(f"/api/roles/{number}", json={"grant": True, "password": PASSWORD})
        assert (answer.status_code, answer.json()["code"]) == (403, "asked.second"), who
        assert "No role waits for you" in words_of(browser.get("/roles").text)
    assert _roles(house, "ines") == {"manager"}


def test_a_wrong_password_grants_nothing(house):
    _asks(house, "reception", "reception", "surgeon")
    number = _number(house)
    answer = house.log_in("surgeon", PASSWORD).post(
        f"/roles/{number}", data={"grant": "yes", "password": "not that one"}
    )
    assert answer.status_code == 403
    assert _roles(house, "reception") == {"reception"}


def test_who_has_no_role_yet_does_not_log_in(house):
    new = {
        "login": "nila",
        "name": "Nila",
        "roles": ["surgeon"],
        "new_password": OTHERS,
        "password": PASSWORD,
    }
    assert house.log_in("manager", PASSWORD).post("/api/staff", json=new).json()["roles"] == []
    refused = house.browser().post("/api/session", json={"login": "nila", "password": OTHERS})
    assert (refused.status_code, refused.json()["code"]) == (403, "staff.waiting")


def test_where_nobody_else_could_agree_it_acts_at_once_and_is_told_for_thirty_days(house, words_of):
    _leave(house, "surgeon")
    _asks(house, "manager", "manager", "surgeon")
    assert _roles(house, "manager") == {"manager", "surgeon"}
    assert "role given by one person alone" in _told(house, "manager")
    began = house.clock.now
    for after, told in ((timedelta(0), True), (TOLD_FOR - timedelta(hours=1), True), (TOLD_FOR, False)):
        house.clock.now = began + after
        browser = house.log_in("manager", PASSWORD)
        for page in ("/staff", "/waiting"):
            said = "alone gave Manager a role of medicine (surgeon)" in words_of(browser.get(page).text)
            assert said is told, f"{page} after {after}"


def test_who_can_agree_must_work_here_and_see_the_person(house):
    """A colleague who was switched off, or has another role, is no second person."""
    _hire(house, "ines", "manager")
    _leave(house, "surgeon")
    _asks(house, "reception", "reception", "counsellor")
    assert _roles(house, "reception") == {"reception"}, "Ines could agree"
    sent = {"roles": ["manager"], "active": False, "password": PASSWORD}
    assert house.log_in("manager", PASSWORD).put("/api/staff/ines", json=sent).status_code == 200
    _asks(house, "reception", "reception", "counsellor")
    assert _roles(house, "reception") == {"reception", "counsellor"}, "nobody could"


# A password that somebody else set


def _reset(house, login: str, role: str, new: str = OTHERS) -> None:
    sent = {"roles": [role], "active": True, "new_password": new, "password": PASSWORD}
    assert house.log_in("manager", PASSWORD).put(f"/api/staff/{login}", json=sent).status_code == 200


def test_a_manager_signs_nothing_as_the_surgeon_whose_password_he_set(house):
    """The attack: reset the surgeon's password, log in as the surgeon, sign."""
    _reset(house, "surgeon", "surgeon")
    surgeon = house.log_in("surgeon", OTHERS)
    sent = {"hash": house.desk.protocol.hash, "password": OTHERS}
    answer = surgeon.post("/api/protocol/sign", json=sent)
    assert (answer.status_code, answer.json()["code"]) == (403, "password.own")
    page = surgeon.post("/protocol/sign", data=sent | {"read": "yes"})
    assert page.status_code == 403
    assert surgeon.get("/api/protocol").json()["signed"] is None
    assert surgeon.post("/api/plans/sign", json={"plans": [1], "password": OTHERS}).status_code == 403


def test_who_was_given_a_password_is_led_to_an_own_one_and_then_signs(house, words_of):
    _reset(house, "surgeon", "surgeon")
    browser = house.browser()
    answer = browser.post("/log-in", data={"login": "surgeon", "password": OTHERS, "then": "/waiting"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/password")
    assert "Somebody else set your password" in words_of(browser.get("/password").text)
    assert "signs nothing" in words_of(browser.get("/waiting").text)
    assert browser.get("/api/session").json()["own_password"] is False
    assert browser.post("/password", data={"old": OTHERS, "new": OWN}).headers["location"] == "/log-in"
    surgeon = house.log_in("surgeon", OWN)
    assert surgeon.get("/api/session").json()["own_password"] is True
    assert "signs nothing" not in words_of(surgeon.get("/waiting").text)
    sent = {"hash": house.desk.protocol.hash, "password": OWN}
    assert surgeon.post("/api/protocol/sign", json=sent).status_code == 204


def test_a_reset_is_told_to_its_owner_and_to_the_managers_for_thirty_days(house, words_of):
    _reset(house, "surgeon", "surgeon")
    assert house.log_in("surgeon", OTHERS).post("/password", data={"old": OTHERS, "new": OWN})
    began = house.clock.now
    for after, told in ((timedelta(0), True), (TOLD_FOR - timedelta(hours=1), True), (TOLD_FOR, False)):
        house.clock.now = began + after
        mine = words_of(house.log_in("surgeon", OWN).get("/waiting").text)
        theirs = words_of(house.log_in("manager", PASSWORD).get("/staff").text)
        assert ("Manager set a new password for you" in mine) is told, after
        assert ("Manager set a new password for Dr Sen" in theirs) is told, after


def test_who_is_added_by_a_manager_has_no_own_password_and_who_was_there_before_has(house):
    new = {
        "login": "nia",
        "name": "Nia",
        "roles": ["reception"],
        "new_password": OTHERS,
        "password": PASSWORD,
    }
    assert house.log_in("manager", PASSWORD).post("/api/staff", json=new).json()["own_password"] is False
    found = {one["login"]: one["own_password"] for one in house.enter("manager").get("/api/staff").json()}
    assert found == {
        **dict.fromkeys(("counsellor", "reception", "surgeon", "pharmacy", "manager"), True),
        "nia": False,
    }


def test_a_manager_with_a_given_password_changes_nobody(house):
    _hire(house, "ines", "manager")
    _reset(house, "ines", "manager")
    sent = {"roles": ["pharmacy"], "active": True, "password": OTHERS}
    answer = house.log_in("ines", OTHERS).put("/api/staff/reception", json=sent)
    assert (answer.status_code, answer.json()["code"]) == (403, "password.own")
    assert _roles(house, "reception") == {"reception"}


# Accounts are changed by who gives the own password again (OWASP ASVS 5.0, 7.5.1)


@pytest.mark.parametrize("password", [None, "", "not that one at all"])
def test_accounts_are_not_changed_without_the_managers_password(house, password):
    word = {} if password is None else {"password": password}
    new = {"login": "nia", "name": "Nia", "roles": ["reception"], "new_password": OTHERS} | word
    change = {"roles": ["pharmacy"], "active": True, "new_password": OTHERS} | word
    manager = house.log_in("manager", PASSWORD)
    answers = [
        manager.post("/api/staff", json=new),
        manager.put("/api/staff/reception", json=change),
        manager.post("/staff", data=new),
        manager.post("/staff/reception", data=change | {"active": "yes"}),
    ]
    assert all(answer.status_code in (403, 422) for answer in answers), answers
    assert _roles(house, "reception") == {"reception"}
    with house.store.read() as session:
        assert staff_by_login(session, "nia") is None
    assert house.log_in("reception", PASSWORD)
