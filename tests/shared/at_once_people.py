"""Pairs at one's own log-ins and at roles that wait for a second person."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from at_once_scene import PASSWORD, Call, Judge, Scene, one_of

from followup.records.house.asked_roles import asked_roles
from followup.records.house.staff import add_staff, staff_by_login
from followup.records.views import SYSTEM, Actor


def _asha(scene: Scene) -> str:
    scene.count += 1
    login = f"asha-{scene.count}"
    with scene.house.store.write(SYSTEM, scene.house.clock.now) as unit:
        add_staff(unit, login=login, name="Asha", roles=["reception"], password_hash=scene.hashed)
    return login


def _open(scene: Scene, login: str) -> list[dict[str, Any]]:
    found = scene.house.enter(login).get("/api/sessions").json()
    return [one for one in found if not one["here"]]


def end_log_in(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """Two end the same one: it ends once."""
    login = _asha(scene)
    for number in range(2):
        scene.someone(login, number)
    scene.house.enter(login)
    third = _open(scene, login)[0]["name"]
    call = (
        Call(login, f"/api/sessions/{third}", method="DELETE")
        if api
        else Call(login, f"/sessions/{third}/end", {})
    )

    def judge(answers: Sequence[Any]) -> None:
        one_of(answers)
        assert third not in {one["name"] for one in _open(scene, login)}

    return [call, call], judge


def end_other_log_ins(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """Each of two ends the other and a third one: the third is gone, whoever comes first."""
    login = _asha(scene)
    scene.house.enter(login)
    third = _open(scene, login)[0]["name"]
    call = Call(login, "/api/sessions", method="DELETE") if api else Call(login, "/sessions/end-others", {})

    def judge(answers: Sequence[Any]) -> None:
        assert [one.status_code for one in answers if one.status_code >= 500] == []
        left = {one["name"] for one in _open(scene, login)}
        assert third not in left
        assert len(left) <= 1

    return [call, call], judge


def decide_role(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """One grants and one refuses: one of both counts."""
    scene.count += 1
    login, asker = f"nila-{scene.count}", Actor("the asker", frozenset({"manager"}))
    with scene.house.store.write(asker, scene.house.clock.now) as unit:
        add_staff(unit, login=login, name="Nila", roles=["reception", "counsellor"], password_hash="-")
        asked = next(one.id for one in asked_roles(unit.session) if one.login == login)
    path, words = (f"/api/roles/{asked}", (True, False)) if api else (f"/roles/{asked}", ("yes", "no"))
    calls = [
        Call(who, path, {"grant": word, "password": PASSWORD})
        for who, word in zip(("manager", "surgeon"), words, strict=True)
    ]

    def judge(answers: Sequence[Any]) -> None:
        granted = one_of(answers) == 0
        with scene.read() as session:
            assert ("counsellor" in staff_by_login(session, login).roles) is granted

    return calls, judge
