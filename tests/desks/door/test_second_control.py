"""Behind an open door: where the pages let everybody in, the use case itself still refuses."""

from __future__ import annotations

import pytest
from asked import ASKED, line_of, names_of, route_of, send
from doors import ROLES, WHO_MAY

from followup.desks.door import guard
from followup.records.house.staff import add_staff, bind_staff, staff_by_login
from followup.records.views import SYSTEM

# They say what would come of it and store nothing.
ONLY_SAID = {"/api/plans/{plan}/steps/effect", "/api/patients/{code}/eyes/{eye}/looks/{on}/effect"}
# Facts that the record holds are answered by whoever may correct the record; what only a surgeon decides is
# held in tests/records/test_duties.py, by the use case that stores it.
FACTS = {"/plans/{plan}/answers", "/api/plans/{plan}/answers"}
# Asked here for what is not open, and so refused before anybody asks whose work it is.
NOT_OPEN = {
    "/patients/{code}/record",
    "/patients/{code}/leaving",
    "/api/patients/{code}/leaving",
    "/api/patients/{code}/eyes/{eye}/looks/{on}/go-on",
    "/plans/{plan}/decisions",
    "/plans/{plan}/decisions/take-back",
    "/api/plans/{plan}/decisions",
    "/api/plans/{plan}/decisions/take-back",
}
# What everybody may, each for the own log-in, is no other's to refuse.
OWN = {route for route, who in WHO_MAY.items() if who >= set(ROLES)}
WRITES = [
    one
    for one in ASKED
    if one[0] != "GET" and route_of(one) not in OWN and route_of(one)[1] not in ONLY_SAID | FACTS
]


def _everybody_else(scene, allowed: frozenset[str]) -> str:
    """Somebody of the hill with every role but those that may."""
    roles = [role for role in ROLES if role not in allowed]
    login = "not-" + "-".join(sorted(allowed))
    with scene.house.store.write(SYSTEM, scene.house.clock.now) as unit:
        if staff_by_login(unit.session, login) is None:
            hashed = scene.house.desk.passwords.hash("a long enough password")
            add_staff(unit, login=login, name="Else", roles=roles, password_hash=hashed, registration="R")
            bind_staff(unit, login=login, site=scene.hill)
    scene.browser(login)
    return login


@pytest.mark.parametrize("asked", WRITES, ids=line_of)
def test_what_changes_care_is_refused_in_its_use_case_too(scene, asked, monkeypatch):
    login = _everybody_else(scene, WHO_MAY[route_of(asked)])
    monkeypatch.setattr(guard, "may", lambda *_: True)
    before = scene.rows()
    answer = send(scene, login, asked, names_of(scene))
    assert scene.rows() == before, f"{login} has stored something"
    refused = answer.status_code == 403 and "may not do this" in answer.text
    assert refused or route_of(asked)[1] in NOT_OPEN, f"{login}: {answer.status_code}"
