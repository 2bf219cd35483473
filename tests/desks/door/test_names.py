"""Under which names the pages answer, and what no address ever holds: a name or a telephone number.

OWASP ASVS 5.0, V4.1 and V14.2.1 (nothing personal in an address); RFC 9110, 7.2 (Host).
"""

from __future__ import annotations

import re
from dataclasses import replace
from urllib.parse import unquote

import pytest

from followup.cli.serving import in_the_clear, names_of
from followup.desks.door.names import LOOPBACK, host_of
from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store
from followup.settings import load_settings

PASSWORD = "a long enough password"


@pytest.mark.parametrize(
    "host",
    [
        "elsewhere.test",
        "clinic.test.elsewhere.test",
        "127.0.0.1",
        "[::1]:8470",
        "clinic.testx",
        "10.0.0.7",
        "",
    ],
)
@pytest.mark.parametrize("path", ["/log-in", "/static/desk.css", "/healthz", "/api/session"])
def test_a_request_for_another_host_is_refused_in_one_line(house, host, path):
    object.__setattr__(house.desk, "names", frozenset({"clinic"}))
    answer = house.browser().get(path, headers={"host": host})
    assert answer.status_code == 400
    assert "FOLLOWUP_NAMES" in answer.text
    assert answer.text.count("\n") <= 1
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert not host or host not in answer.text
    if path.startswith("/api/"):
        assert answer.json()["code"] == "request.host"


@pytest.mark.parametrize(
    "host", ["clinic.test", "CLINIC.test:8470", "clinic.test.", "Desk.Clinic", "desk.clinic:443"]
)
def test_the_names_of_the_clinic_and_the_address_of_the_connection_are_answered(house, host):
    object.__setattr__(house.desk, "names", frozenset({"desk.clinic"}))
    assert house.browser().get("/log-in", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    ("given", "host"),
    [
        ("Clinic.Test:8470", "clinic.test"),
        ("[::1]:8470", "::1"),
        ("[::1]", "::1"),
        ("clinic.test.", "clinic.test"),
        (" clinic ", "clinic"),
        ("", ""),
    ],
)
def test_a_host_is_read_without_its_port(given, host):
    assert host_of({"host": given}) == host


def test_the_names_are_this_computers_and_those_of_the_settings(tmp_path, monkeypatch):
    monkeypatch.setattr("followup.cli.serving.socket.gethostname", lambda: "Front-Desk")
    env = {"FOLLOWUP_FOLDER": str(tmp_path), "FOLLOWUP_HOST": "192.0.2.7"}
    given = env | {"FOLLOWUP_NAMES": "Clinic.example, eye.example:443 2001:db8::7"}
    own = LOOPBACK | {"192.0.2.7", "front-desk", "front-desk.local"}
    assert names_of(load_settings(env)) == own
    assert names_of(load_settings(given)) == own | {"clinic.example", "eye.example", "2001:db8::7"}


@pytest.mark.parametrize(
    ("address", "clear"),
    [
        *(("127.0.0.1", False), ("127.1.2.3", False), ("::1", False)),
        *(("0.0.0.0", True), ("::", True), ("192.0.2.7", True), ("fe80::1%eth0", True)),
    ],
)
def test_pages_that_leave_the_computer_are_known(address, clear):
    assert in_the_clear(address) is clear


def test_a_name_that_was_searched_for_stands_in_no_address(house):
    assert house.enter("reception").get("/api/find", params={"text": "Wanjiru"}).status_code == 405
    assert house.enter("reception").post("/api/find", json={"text": "Wanjiru"}).status_code == 200


def test_no_link_on_a_list_holds_a_name_or_a_telephone_number(house, routine, form_of):
    """Neither of whom is to be reached, nor of whom stands on the operation list and has no record yet."""
    house.sign_protocol()
    counsellor = house.enter("counsellor")
    plan = counsellor.post("/operations/new", data=form_of(counsellor.get("/operations/new").text) | routine)
    signed = house.log_in("surgeon").post(f"{plan.headers['location']}/sign", data={"password": PASSWORD})
    assert signed.status_code == 303
    house.clock.on(3)
    on = house.clock.now.date().isoformat()
    listed = {"code": "X-9", "name": "Quillfeather Xanthe", "eye": "left"}
    put = house.enter("counsellor").put("/api/operations", json={"on": on, "lines": [listed]})
    assert put.status_code == 200
    day = f"/operations?on={on}"
    who = {"/to-reach": "reception", "/today": "reception", day: "counsellor"}
    pages = {path: house.enter(login).get(path).text for path, login in who.items()}
    assert "Quillfeather" in pages[day]
    assert "7946 0123" in pages["/to-reach"]
    for path, page in pages.items():
        links = [unquote(link) for link in re.findall(r'(?:href|action)="([^"]*)"', page)]
        assert len(links) > 3
        for link in links:
            assert not re.search(r"Wanjiru|Quillfeather|7946|\?name=|number=\d", link), f"{path}: {link}"
    address = f"/operations/new?code=X-9&on={on}"
    assert address.replace("&", "&amp;") in pages[day]
    form = house.enter("counsellor").get(address).text
    assert 'value="Quillfeather Xanthe"' in form


@pytest.mark.parametrize("path", ["/log-in", "/today", "/patients/Wanjiru", "/api/visits"])
def test_while_the_database_is_away_pages_say_so_and_the_log_has_a_line_without_what_was_asked(
    house, tmp_path, caplog, path
):
    away = Store.open(sqlite_url(tmp_path / "no such folder" / "x.db"))
    house.desk = replace(house.desk, store=away)
    house.__post_init__()
    answer = house.browser().get(path)
    assert answer.status_code == 503
    assert "the database can't be reached" in answer.text.replace("&#39;", "'")
    assert {record.getMessage().partition(":")[0] for record in caplog.records} == {"refused for now"}
    assert "Wanjiru" not in caplog.text.partition("Traceback")[0]


def test_the_managers_page_says_so_where_the_pages_leave_the_computer_unencrypted(house, words_of):
    said = "These pages are not encrypted when they leave this computer"
    assert said not in words_of(house.enter("manager").get("/staff").text)
    house.desk = replace(house.desk, unencrypted=True)
    house.__post_init__()
    for page in ("/staff", "/forecast"):
        assert said in words_of(house.enter("manager").get(page).text)
