"""One table of every route against every role: complete, and obeyed by the application."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi.routing import APIRoute

from followup.desks.permissions import ROLES, STAFF, TABLE, may
from followup.desks.routes import ROUTERS

NOBODY = "anonymous"
LOGS_OUT = {("POST", "/log-out"), ("DELETE", "/api/session")}
EXAMPLES = {
    "{code}": "NO-SUCH-CODE",
    "{plan}": "999999",
    "{sheet}": "0000000000",
    "{trip}": "999999",
    "{message}": "999999",
    "{eye}": "right",
    "{on}": "2027-03-02",
    "{number}": "1",
    "{other}": "999998",
    "{login}": "nobody-by-this-name",
}


def _routes() -> Iterator[tuple[str, str]]:
    for router in ROUTERS:
        for route in router.routes:
            assert isinstance(route, APIRoute)
            for method in sorted(route.methods or ()):
                yield method, route.path


def test_every_route_stands_in_the_table_and_the_table_names_no_other():
    assert sorted(_routes()) == sorted(TABLE)


def test_no_route_is_closed_to_everybody():
    assert all(allowed for allowed in TABLE.values())


def test_a_route_that_the_table_does_not_know_is_refused_to_all():
    assert not may(STAFF | {NOBODY}, "GET", "/not-in-the-table")


def test_writing_is_never_open_to_everybody_but_for_logging_in():
    open_writes = [key for key, allowed in TABLE.items() if key[0] != "GET" and NOBODY in allowed]
    assert open_writes == [("POST", "/log-in"), ("POST", "/api/session")]


@pytest.fixture
def browsers(house):
    """A browser for each role, one more for nobody; those that log out get a new one from it."""
    made = {role: house.log_in(role) for role in ROLES}
    return made | {NOBODY: house.browser()}


def test_the_application_lets_in_exactly_whom_the_table_names(house, browsers):
    wrong = []
    for (method, path), allowed in sorted(TABLE.items()):
        for role, browser in browsers.items():
            address = path
            for name, value in EXAMPLES.items():
                address = address.replace(name, value)
            answer = browser.request(method, address, data={} if method == "POST" else None)
            if (method, path) in LOGS_OUT:
                browsers[role] = house.browser() if role == NOBODY else house.log_in(role)
            refused = answer.status_code == 403 or _asks_to_log_in(answer)
            if refused == (role in allowed) and not _wrong_log_in(method, path, answer):
                wrong.append((method, path, role, answer.status_code))
            if answer.status_code == 500:
                wrong.append((method, path, role, "fault"))
    assert wrong == []


def _asks_to_log_in(answer) -> bool:
    if answer.status_code == 303:
        return answer.headers["location"].startswith("/log-in?then=")
    said = ("Log in first", "login.needed")
    return answer.status_code == 401 and any(words in answer.text for words in said)


def _wrong_log_in(method: str, path: str, answer) -> bool:
    """An empty log-in form is answered by the log-in page itself, which is not a closed door."""
    return (method, path) == ("POST", "/log-in") and answer.status_code == 401
