"""Who may ask what: every route with every role, cell by cell against the literal table in who_may.toml."""

from __future__ import annotations

from itertools import combinations

import pytest
from doors import EVERYBODY, ROLES, WHO_MAY, ask, door
from fastapi.routing import APIRoute
from starlette.routing import BaseRoute, Mount

from followup.desks.app import create_app
from followup.desks.door.permissions import TABLE
from followup.records.house.staff import add_staff
from followup.records.views import SYSTEM

LOGS_OUT = {("POST", "/log-out"), ("DELETE", "/api/session")}


def _served(routes) -> list[BaseRoute]:
    """Everything that an application answers to; a router inside it by its own routes."""
    found: list[BaseRoute] = []
    for route in routes:
        inside = getattr(route, "original_router", None)
        found += _served(inside.routes) if inside is not None else [route]
    return found


def _routes(app) -> list[tuple[str, str]]:
    found = [route for route in _served(app.routes) if isinstance(route, APIRoute)]
    return [(method, route.path) for route in found for method in route.methods]


def test_every_route_stands_in_the_table_once_and_every_line_has_its_route(house):
    assert sorted(_routes(create_app(house.desk))) == sorted(WHO_MAY)


def test_beside_the_routes_only_the_styles_and_scripts_of_the_pages_are_served(house):
    others = [route for route in _served(create_app(house.desk).routes) if not isinstance(route, APIRoute)]
    assert [(type(route), route.path) for route in others] == [(Mount, "/static")]


def test_the_table_names_known_roles_alone_and_a_right_for_every_line():
    assert frozenset(ROLES) | {EVERYBODY} == frozenset().union(*WHO_MAY.values())


def test_no_address_is_answered_by_two_routes_of_different_modules(house):
    """Routes are found module by module: an address of two would be answered by whose name comes first."""
    found = [route for route in _served(create_app(house.desk).routes) if isinstance(route, APIRoute)]
    for one, other in combinations(found, 2):
        if one.methods & other.methods and one.endpoint.__module__ != other.endpoint.__module__:
            parts, others = one.path.split("/"), other.path.split("/")
            alike = [a == b or "{" in a + b for a, b in zip(parts, others, strict=False)]
            assert len(parts) != len(others) or not all(alike), (one.path, other.path)


@pytest.mark.parametrize("who", [*ROLES, EVERYBODY])
def test_the_program_lets_in_whom_the_table_names_and_nobody_else(house, who):
    browser = house.browser() if who == EVERYBODY else house.enter(who)
    wrong = []
    # Whatever logs out comes last; the fifth wrong password in a row logs out too.
    for method, path in sorted(WHO_MAY, key=lambda route: route in LOGS_OUT):
        if ((method, path) in LOGS_OUT or "second-factor" in path) and who != EVERYBODY:
            browser = house.enter(who)
        allowed = WHO_MAY[method, path] & {who, EVERYBODY}
        shut = "log in first" if who == EVERYBODY else "not this role"
        answer = ask(browser, method, path)
        if door(answer) != ("open" if allowed else shut) or answer.status_code == 500:
            wrong.append(f"{who}: {method} {path}: {door(answer)}, {answer.status_code}")
    assert wrong == []


def test_somebody_with_two_roles_may_what_either_may_and_no_more(house):
    with house.store.write(SYSTEM, house.clock.now) as unit:
        add_staff(unit, login="both", name="Asha", roles=["pharmacy", "counsellor"], password_hash="-")
    browser = house.enter("both")
    asked = ("/operations", "/bottles", "/today", "/waiting", "/calendar")
    doors = {path: door(browser.get(path)) for path in asked}
    assert doors == {
        "/operations": "open",
        "/bottles": "open",
        "/today": "open",
        "/waiting": "not this role",
        "/calendar": "not this role",
    }


def test_a_route_that_nobody_named_in_the_programs_own_table_is_shut_for_all(house, monkeypatch):
    monkeypatch.delitem(TABLE, ("GET", "/help"))
    assert {door(house.enter(role).get("/help")) for role in ROLES} == {"not this role"}
    assert door(house.browser().get("/help")) == "log in first"
