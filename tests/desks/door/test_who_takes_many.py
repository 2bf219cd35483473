"""Who may take a file of many people along: the desk whose work it is, and nobody by signing.

Written by hand. Every answer that tells many patients at once stands here, and every other address without
a patient in it stands below, so that a new one must be told apart.
"""

from __future__ import annotations

import pytest
from doors import WHO_MAY, ask, door

# Made to be carried away: paper and lists to print, and the same for programs.
FILES = {
    ("POST", "/operations/sheets"): "counsellor",
    ("GET", "/operations/sheets.pdf"): "counsellor",
    ("POST", "/api/operations/sheets"): "counsellor",
    ("GET", "/api/operations/sheets.pdf"): "counsellor",
    ("GET", "/operations/tables/{table}/refused"): "counsellor",
    ("GET", "/today/list"): "counsellor reception",
    ("GET", "/today/visits.ics"): "counsellor reception",
    ("GET", "/api/visits.ics"): "counsellor reception",
    ("GET", "/calls"): "counsellor reception",
    ("GET", "/api/calls"): "counsellor reception",
    ("GET", "/bottles/labels.pdf"): "pharmacy manager",
    ("GET", "/api/bottles/labels.pdf"): "pharmacy manager",
}
# What somebody works with: the people of a day or of a task, a line each, never a whole record.
LISTS = {
    ("GET", "/today"): "counsellor reception surgeon",
    ("GET", "/to-reach"): "counsellor reception surgeon",
    ("GET", "/not-followed"): "counsellor reception surgeon",
    ("GET", "/operations"): "counsellor surgeon",
    ("GET", "/operations/tables/{table}"): "counsellor",
    ("GET", "/operations/tables/{table}/columns"): "counsellor",
    ("GET", "/waiting"): "surgeon",
    ("GET", "/my-patients"): "surgeon",
    ("GET", "/bottles"): "pharmacy manager",
    ("GET", "/forecast"): "manager",
    ("GET", "/outcomes"): "manager surgeon",
    ("GET", "/messages"): "manager",
    ("GET", "/erase"): "manager",
    ("GET", "/api/visits"): "counsellor reception surgeon",
    ("GET", "/api/to-reach"): "counsellor reception surgeon",
    ("GET", "/api/not-followed"): "counsellor reception surgeon",
    ("GET", "/api/alerts"): "counsellor reception surgeon",
    ("POST", "/find"): "counsellor reception surgeon",
    ("POST", "/api/find"): "counsellor reception surgeon",
    ("GET", "/api/operations"): "counsellor surgeon",
    ("GET", "/api/leaving"): "counsellor surgeon",
    ("GET", "/api/plans/waiting"): "surgeon",
    ("GET", "/api/my-patients"): "surgeon",
    ("GET", "/api/bottles"): "pharmacy manager",
    ("GET", "/api/bottles/waiting"): "pharmacy manager",
    ("GET", "/api/forecast/people"): "manager",
    ("GET", "/api/outcomes"): "manager surgeon",
    ("GET", "/api/messages"): "manager",
    ("GET", "/api/erasings"): "manager",
}
# Tell of nobody who is treated here.
NOBODY = {
    *("/", "/healthz", "/readyz", "/log-in", "/fonts/{name}", "/help", "/help/{desk}", "/day", "/password"),
    *("/protocol", "/operations/new", "/operations/paste", "/operations/tables", "/calendar", "/staff"),
    *("/api", "/api/openapi.json", "/api/session", "/api/protocol", "/api/forecast", "/api/calendar"),
    *("/api/staff", "/roles", "/api/roles", "/api/sessions"),
    # Counts alone, small ones masked.
    *("/outcomes/audit", "/outcomes/audit.csv", "/outcomes/audit.pdf", "/api/outcomes/audit"),
}


def test_every_address_that_tells_of_many_stands_here_with_who_may():
    one = ("{code}", "{plan}", "{sheet}", "{trip}")
    many = {
        (method, path)
        for method, path in WHO_MAY
        if method == "GET" and path not in NOBODY and not any(part in path for part in one)
    }
    told = FILES | LISTS
    assert many == {route for route in told if route[0] == "GET"}
    assert {route: WHO_MAY[route] for route in told} == {
        route: frozenset(who.split()) for route, who in told.items()
    }


@pytest.mark.parametrize("route", FILES, ids=" ".join)
def test_who_signs_takes_no_file_of_many_along_by_signing(house, route):
    assert "surgeon" not in FILES[route].split()
    assert door(ask(house.enter("surgeon"), *route)) == "not this role"


def test_no_page_offers_whoever_signs_what_is_refused(house):
    surgeon, reception = house.enter("surgeon"), house.enter("reception")
    for path in ("/today", "/to-reach", "/operations"):
        page = surgeon.get(path)
        assert page.status_code == 200
        for refused in ("/today/list", 'href="/calls', 'action="/operations/sheets"'):
            assert refused not in page.text, f"{path} offers {refused}"
    assert "/today/list" in reception.get("/today").text
    assert 'href="/calls' in reception.get("/to-reach").text
