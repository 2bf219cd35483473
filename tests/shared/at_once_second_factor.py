"""Pairs at the second factor: set up, confirmed, used and taken off by two at once."""

from __future__ import annotations

from base64 import b32decode
from collections.abc import Sequence
from typing import Any

from at_once_scene import PASSWORD, Call, Judge, Scene, one_of, taken
from pyotp import TOTP

from followup.recall.codes.sealing import seal
from followup.records.house.second_factor import begin_second_factor, set_second_factor
from followup.records.house.staff import add_staff, staff_by_login
from followup.records.views import SYSTEM, Staff

# RFC 6238, appendix B: the secret "12345678901234567890".
KEY = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"


def code_now(house: Any, key: str = KEY) -> str:
    """The code that a telephone with this key shows."""
    return TOTP(key).at(house.clock.now)


def with_second_factor(house: Any, login: str, *, counts: bool = True) -> None:
    """Give ``login`` the KEY, in the store, without ending a session."""
    person = person_of(house, login)
    sealed = seal(b32decode(KEY), house.desk.keyring, of=f"second factor of {person.id}")
    with house.store.write(person.actor, house.clock.now) as unit:
        begin_second_factor(unit, sealed=sealed)
        if counts:
            set_second_factor(unit, sealed=sealed, step=0)


def person_of(house: Any, login: str) -> Staff:
    with house.store.read() as session:
        found = staff_by_login(session, login)
    assert found is not None
    return found


def _somebody(scene: Scene) -> str:
    login = f"asha-{scene.count}"
    scene.count += 1
    with scene.house.store.write(SYSTEM, scene.house.clock.now) as unit:
        add_staff(unit, login=login, name="Asha", roles=["reception"], password_hash=scene.hashed)
    for number in range(2):
        scene.someone(login, number)
    return login


def begin_factor(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """The key of one of the two is kept, and none counts before its first code."""
    login = _somebody(scene)
    call = Call(
        login, "/api/session/second-factor" if api else "/password/second-factor", {"password": PASSWORD}
    )

    def judge(answers: Sequence[Any]) -> None:
        assert all(answer.status_code == 200 for answer in answers), answers
        person = person_of(scene.house, login)
        assert person.second_key
        assert person.second_since is None

    return [call, call], judge


def first_code(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    login = _somebody(scene)
    with_second_factor(scene.house, login, counts=False)
    path, method = ("/api/session/second-factor", "PUT") if api else ("/password/second-factor/first", "POST")
    call = Call(login, path, {"code": code_now(scene.house)}, method)

    def judge(answers: Sequence[Any]) -> None:
        one_of(answers)
        assert person_of(scene.house, login).second_since == scene.house.clock.now
        assert scene.entries(f"staff:{login}", "second factor set") == 1

    return [call, call], judge


def factor_off(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    login = _somebody(scene)
    with_second_factor(scene.house, login)
    path = "/api/session/second-factor/off" if api else "/password/second-factor/off"
    call = Call(login, path, {"password": PASSWORD, "code": code_now(scene.house)})

    def judge(answers: Sequence[Any]) -> None:
        one_of(answers)
        assert person_of(scene.house, login).second_key == ""

    return [call, call], judge


def log_in_by_code(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """One code opens one log-in."""
    assert not api
    login = _somebody(scene)
    with_second_factor(scene.house, login)
    page = scene.house.browser().post("/log-in", data={"login": login, "password": PASSWORD})
    sent = {name: values[0] for name, values in scene.form_of(page.text, "/log-in/code").items()}
    call = Call("", "/log-in/code", sent | {"code": code_now(scene.house)})

    def judge(answers: Sequence[Any]) -> None:
        assert len(taken(answers)) == 1

    return [call, call], judge
