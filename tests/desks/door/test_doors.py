"""The doors as properties: no write from a foreign page, and a log-in dies with its person."""

from __future__ import annotations

import sqlite3
from contextlib import ExitStack, closing
from datetime import timedelta

import pytest
from asked import ASKED, names_of, route_of, send
from doors import WHO_MAY, address_of
from sqlalchemy import text

from followup.records.house.staff import end_session, touch_session
from followup.records.store import engine

PASSWORD = "a long enough password"
WRITES = sorted(route for route in WHO_MAY if route[0] != "GET")
# How a request says that it comes from elsewhere: Fetch Metadata of W3C, else Origin of RFC 6454.
FOREIGN = [
    {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"},
    {"origin": "http://elsewhere.test"},
    {"origin": "http://clinic.test.elsewhere.test"},
    {"origin": "https://elsewhere.test:80", "host": "clinic.test"},
    {"origin": "null"},
    {},
]
LOG_IN = {"/log-in": {"data": {"login": "carol", "password": PASSWORD}}}
LOG_IN["/api/session"] = {"json": LOG_IN["/log-in"]["data"]}


def _elsewhere(scene, headers, login=None):
    """A browser that says nothing, or something else, of where its requests come from."""
    browser = scene.house.browser()
    del browser.headers["sec-fetch-site"]
    browser.headers |= headers
    if login:
        browser.cookies.update(scene.browser(login).cookies)
    return browser


def _sessions(scene) -> int:
    with scene.house.store.read() as session:
        return session.execute(
            text("SELECT count(*) FROM login_session WHERE revoked_at IS NULL")
        ).scalar_one()


def _refused(answer) -> bool:
    said = "did not come from a page of this clinic" in answer.text
    return answer.status_code == 403 and said and "set-cookie" not in answer.headers


@pytest.mark.parametrize("headers", FOREIGN, ids=str)
def test_no_route_that_changes_something_takes_it_from_a_foreign_page(scene, headers):
    before, sessions = scene.rows(), _sessions(scene)
    browser = _elsewhere(scene, headers, "carol")
    let_in = [
        route for route in WRITES if not _refused(browser.request(*_asked(route), **LOG_IN.get(route[1], {})))
    ]
    assert let_in == []
    assert (scene.rows(), _sessions(scene)) == (before, sessions)


def _asked(route) -> tuple[str, str]:
    method, path = route
    return method, address_of(path)


@pytest.mark.parametrize("headers", [FOREIGN[0], FOREIGN[2]], ids=str)
def test_what_would_be_stored_is_not_where_a_foreign_page_sends_it(scene, headers):
    """The same with all that the page itself would send, by somebody who may."""
    browser = _elsewhere(scene, headers, "carol")
    scene._known[f"foreign {scene.house.clock.now}"] = browser
    before = scene.rows()
    asked = [one for one in ASKED if one[0] != "GET"]
    let_in = [route_of(one) for one in asked if not _refused(send(scene, "foreign", one, names_of(scene)))]
    assert let_in == []
    assert scene.rows() == before


@pytest.mark.parametrize("path", LOG_IN)
def test_a_foreign_page_logs_nobody_in(scene, path):
    before, sessions = scene.rows(), _sessions(scene)
    for headers in FOREIGN:
        answer = _elsewhere(scene, headers).post(path, **LOG_IN[path])
        assert _refused(answer), headers
    assert (scene.rows(), _sessions(scene)) == (before, sessions)
    ours = {"origin": "http://clinic.test"}
    entered = _elsewhere(scene, ours).post(path, **LOG_IN[path])
    assert entered.status_code == {"/log-in": 303, "/api/session": 201}[path]


# A log-in and its person


def _switched_off(house, manager):
    sent = {"roles": ["reception"], "active": False, "password": PASSWORD}
    assert manager.put("/api/staff/reception", json=sent).status_code == 200


def _other_roles(house, manager):
    sent = {"roles": ["reception", "pharmacy"], "active": "yes", "password": PASSWORD}
    assert manager.post("/staff/reception", data=sent).status_code == 303


def _new_password(house, manager):
    sent = {"roles": ["reception"], "active": "yes", "new_password": "quite another password"}
    sent["password"] = PASSWORD
    assert manager.post("/staff/reception", data=sent).status_code == 303


def _own_password(house, _manager):
    sent = {"old": PASSWORD, "new": "quite another password"}
    assert house.enter("reception").put("/api/session/password", json=sent).status_code == 204


def _row_alone(house, _manager):
    """As where a database was changed by hand: no session is ended, the person is switched off."""
    with house.store.engine.begin() as connection:
        connection.execute(text("UPDATE staff SET active = 0 WHERE login = 'reception'"))


@pytest.mark.parametrize(
    "ends",
    [_switched_off, _other_roles, _new_password, _own_password, _row_alone],
    ids=lambda one: one.__name__,
)
def test_what_ends_a_person_ends_every_log_in_of_the_person_and_no_other(house, ends):
    window, home, other = house.enter("reception"), house.enter("reception"), house.enter("surgeon")
    manager = house.enter("manager")
    assert [one.get("/to-reach").status_code for one in (window, home, other)] == [200] * 3
    ends(house, manager)
    for browser in (window, home):
        assert browser.get("/to-reach").headers["location"] == "/log-in?then=/to-reach"
        assert browser.get("/api/to-reach").json()["code"] == "login.needed"
        assert browser.post("/patients/K-1/walk-in", data={"why": "x"}).status_code == 401
        assert browser.post("/api/patients/K-1/take-back", json={"entry": 1}).status_code == 401
    assert [one.status_code for one in (other.get("/to-reach"), manager.get("/staff"))] == [200, 200]


@pytest.mark.parametrize("way", [("POST", "/log-out"), ("DELETE", "/api/session")], ids=str)
def test_logging_out_ends_this_log_in_alone_also_for_whoever_kept_its_cookie(house, way):
    here, elsewhere, thief = house.enter("surgeon"), house.enter("surgeon"), house.browser()
    thief.cookies.update(here.cookies)
    answer = here.request(*way)
    gone = {part.strip().lower() for part in answer.headers["set-cookie"].split(";")}
    assert {'followup=""', "max-age=0", "path=/", "httponly", "samesite=strict"} <= gone
    assert [one.get("/waiting").status_code for one in (here, thief, elsewhere)] == [303, 303, 200]


def test_a_cookie_that_nobody_was_given_opens_nothing(house):
    browser = house.enter("surgeon")
    (token,) = browser.cookies.values()
    for other in (token + "x", token[:-1], token.swapcase(), "", "x" * 5000):
        browser.cookies.clear()
        browser.cookies.set("followup", other)
        assert browser.get("/waiting").status_code == 303


def test_a_log_in_used_all_day_ends_after_twelve_hours_to_the_second(house):
    browser, start = house.enter("surgeon"), house.clock.now
    (token,) = browser.cookies.values()
    for used in range(1, 30):
        with house.store.upkeep(start + used * timedelta(minutes=25)) as unit:
            touch_session(unit, token=token)
    for after, status in ((timedelta(hours=12) - timedelta(seconds=1), 200), (timedelta(hours=12), 303)):
        house.clock.now = start + after
        assert browser.get("/waiting").status_code == status
    house.clock.now = start
    with house.store.upkeep(start) as unit:
        end_session(unit, token=token)
    assert browser.get("/waiting").status_code == 303, "ended for good"


def test_looking_at_a_page_keeps_the_log_in_for_another_half_hour(house):
    browser, start = house.enter("surgeon"), house.clock.now
    for minutes, status in ((29, 200), (58, 200), (87, 200), (117, 303)):
        house.clock.now = start + timedelta(minutes=minutes)
        assert browser.get("/waiting").status_code == status, f"after {minutes} minutes"


@pytest.mark.parametrize("by", ["a colleague", "another program"])
def test_no_page_waits_for_whoever_stores_something_but_a_log_in_that_is_about_to_end(house, by, monkeypatch):
    monkeypatch.setattr(engine, "BUSY_MILLISECONDS", 100)
    browser, start = house.enter("surgeon"), house.clock.now
    other = sqlite3.connect(str(house.store.engine.url.database), isolation_level=None)
    with closing(other), ExitStack() as meanwhile:
        if by == "a colleague":
            meanwhile.enter_context(house.store.upkeep(start))
        else:
            other.execute("BEGIN IMMEDIATE")
        for minutes, status in ((5, 200), (14, 200), (16, 503)):
            house.clock.now = start + timedelta(minutes=minutes)
            assert browser.get("/waiting").status_code == status, f"after {minutes} minutes"
    assert browser.get("/waiting").status_code == 200
    house.clock.now = start + timedelta(minutes=16 + 29)
    assert browser.get("/waiting").status_code == 200, "noted as soon as nobody else stored anything"


@pytest.mark.parametrize("path", ["/log-in", "/api/session"])
def test_both_ways_in_give_the_same_cookie(house, path):
    kind = "json" if path.startswith("/api") else "data"
    sent = {kind: {"login": "surgeon", "password": PASSWORD}}
    answer = house.browser().post(path, **sent)
    name, *flags = (part.strip().lower() for part in answer.headers["set-cookie"].split(";"))
    assert sorted(flags) == ["httponly", "max-age=43200", "path=/", "samesite=strict"]
    assert name.startswith("followup=")
    assert len(name) > len("followup=") + 40


@pytest.mark.parametrize(("wrong", "out"), [(4, False), (5, True)])
@pytest.mark.parametrize("where", ["log-in", "api", "signature", "password"])
def test_the_fifth_wrong_password_shuts_where_it_was_typed_and_nowhere_else(house, where, wrong, out):
    browser = house.enter("surgeon")
    page = {"hash": house.desk.protocol.hash, "read": "yes"}
    for number in range(wrong):
        bad = f"not the password {number}"
        if where == "log-in":
            house.browser().post("/log-in", data={"login": "surgeon", "password": bad})
        elif where == "api":
            house.browser().post("/api/session", json={"login": "Surgeon ", "password": bad})
        elif where == "signature":
            browser.post("/protocol/sign", data={**page, "password": bad})
        else:
            browser.post("/password", data={"old": bad, "new": "quite another password"})
        house.clock.now += timedelta(seconds=20)
    right, strange = {"login": "surgeon", "password": PASSWORD}, where in ("log-in", "api")
    assert house.browser().post("/log-in", data=right).status_code == (429 if out and strange else 303)
    assert (browser.get("/waiting").status_code == 200) is (strange or not out)
    assert house.browser().post("/log-in", data=right | {"login": "manager"}).status_code == 303


def test_no_address_that_is_only_opened_changes_anything(scene):
    """Lists, figures and forms; what is opened of one patient is asked in test_other_site.py."""
    before, browser = scene.rows(), scene.browser("carol")
    opened = sorted(path for method, path in WHO_MAY if method == "GET" and "{" not in path)
    # What makes a document needs a day on which somebody was operated on.
    asked = {path: browser.get(path + ("?on=2027-03-08" if path.endswith(".pdf") else "")) for path in opened}
    assert len(asked) > 40
    assert [path for path, answer in asked.items() if answer.status_code == 500] == []
    assert scene.rows() == before
