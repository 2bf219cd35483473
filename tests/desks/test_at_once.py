"""Everything that writes, done by two at once: nothing acknowledged is lost or doubled, the loser is told.

The table of pairs is made from the table of routes: a route that changes something and has no pair
fails the first test. What is stored is looked at afterwards, never what the answers say alone.
"""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Sequence
from functools import partial
from typing import Any

import pytest
from at_once_people import decide_role, end_log_in, end_other_log_ins
from at_once_plans import (
    add_lines,
    again,
    answer,
    approve,
    correct,
    decide,
    end,
    findings,
    go_on_look,
    log_in,
    log_out,
    new_record,
    own_language,
    password,
    paste_list,
    put_list,
    refuse_look,
    sign,
    sign_together,
    step_back,
    steps,
    take_look,
    undecide,
)
from at_once_scene import (
    PASSWORD,
    ROUNDS,
    Call,
    Pair,
    Scene,
    taken,
)
from at_once_second_factor import begin_factor, factor_off, first_code, log_in_by_code
from at_once_tables import name_columns, send_table, store_table
from at_once_visits import (
    add_person,
    agree,
    arrive,
    book,
    calendar,
    call_patient,
    change_person,
    check_before_leaving,
    close_alert,
    count_bottles,
    erase,
    following,
    give_bottles,
    hand_over,
    leave,
    message_again,
    move,
    print_day,
    print_sheet,
    seen,
    stay_away,
    stop,
    take_back,
    take_bottles_back,
    taught,
    walk_in,
)
from sqlalchemy import event

from followup.desks.door.permissions import TABLE
from followup.records.house.staff import add_staff, all_staff, staff_by_login
from followup.records.store.journal import verify_journal
from followup.records.views import SYSTEM

# Ask something and store nothing: shown below.
ASKS = {
    ("POST", "/operations/preview"),
    ("POST", "/find"),
    ("POST", "/api/find"),
    ("POST", "/photo"),
    ("POST", "/api/records/preview"),
    ("POST", "/api/records/read"),
    ("POST", "/api/photo"),
    ("POST", "/api/plans/{plan}/steps/effect"),
    ("POST", "/api/patients/{code}/eyes/{eye}/looks/{on}/effect"),
}


PAIRS: dict[tuple[str, str], Pair] = {
    ("POST", "/log-in"): log_in,
    ("POST", "/api/session"): log_in,
    ("POST", "/log-out"): log_out,
    ("DELETE", "/api/session"): log_out,
    ("POST", "/password"): password,
    ("PUT", "/api/session/password"): password,
    ("POST", "/log-in/code"): log_in_by_code,
    ("POST", "/password/second-factor"): begin_factor,
    ("POST", "/api/session/second-factor"): begin_factor,
    ("POST", "/password/second-factor/first"): first_code,
    ("PUT", "/api/session/second-factor"): first_code,
    ("POST", "/password/second-factor/off"): factor_off,
    ("POST", "/api/session/second-factor/off"): factor_off,
    ("POST", "/language"): own_language,
    ("PUT", "/api/session/language"): own_language,
    ("POST", "/protocol/sign"): approve,
    ("POST", "/api/protocol/sign"): approve,
    ("POST", "/operations/list"): paste_list,
    ("PUT", "/api/operations"): put_list,
    ("POST", "/api/operations"): add_lines,
    ("POST", "/operations/new"): partial(new_record, form=True),
    ("POST", "/operations/paste"): new_record,
    ("POST", "/operations/tables"): send_table,
    ("POST", "/operations/tables/{table}/columns"): name_columns,
    ("POST", "/operations/tables/{table}/store"): store_table,
    ("POST", "/api/records"): new_record,
    ("POST", "/patients/{code}/record"): correct,
    ("PUT", "/api/patients/{code}/record"): correct,
    ("POST", "/operations/sheets"): print_day,
    ("POST", "/api/operations/sheets"): print_day,
    ("POST", "/plans/{plan}/again"): again,
    ("POST", "/api/plans/{plan}/again"): again,
    ("POST", "/plans/{plan}/answers"): answer,
    ("POST", "/api/plans/{plan}/answers"): answer,
    ("POST", "/plans/{plan}/steps"): steps,
    ("POST", "/api/plans/{plan}/steps"): steps,
    ("POST", "/plans/{plan}/take-back"): step_back,
    ("POST", "/api/plans/{plan}/take-back"): step_back,
    ("POST", "/plans/{plan}/sign"): sign,
    ("POST", "/api/plans/{plan}/sign"): sign,
    ("POST", "/waiting/sign"): sign_together,
    ("POST", "/api/plans/sign"): sign_together,
    ("POST", "/patients/{code}/standing"): partial(following, who="surgeon", path="standing"),
    ("POST", "/api/patients/{code}/standing"): partial(following, who="surgeon", path="standing"),
    ("POST", "/patients/{code}/eyes/{eye}/findings"): findings,
    ("POST", "/api/patients/{code}/eyes/{eye}/findings"): findings,
    ("POST", "/patients/{code}/eyes/{eye}/looks/{on}"): refuse_look,
    ("POST", "/api/patients/{code}/eyes/{eye}/looks/{on}/go-on"): go_on_look,
    ("POST", "/api/patients/{code}/eyes/{eye}/looks/{on}/refuse"): refuse_look,
    ("POST", "/api/patients/{code}/eyes/{eye}/looks/{on}/take"): take_look,
    ("POST", "/plans/{plan}/end"): end,
    ("POST", "/api/plans/{plan}/end"): end,
    ("POST", "/plans/{plan}/decisions"): decide,
    ("POST", "/api/plans/{plan}/decisions"): decide,
    ("POST", "/plans/{plan}/decisions/take-back"): undecide,
    ("POST", "/api/plans/{plan}/decisions/take-back"): undecide,
    ("POST", "/trips/{trip}/left"): leave,
    ("POST", "/api/visits/{trip}/left"): leave,
    ("POST", "/patients/{code}/leaving"): check_before_leaving,
    ("POST", "/api/patients/{code}/leaving"): check_before_leaving,
    ("POST", "/patients/{code}/alerts/{alert}/close"): close_alert,
    ("POST", "/api/patients/{code}/alerts/{alert}/close"): close_alert,
    ("POST", "/plans/{plan}/sheets"): print_sheet,
    ("POST", "/api/plans/{plan}/sheets"): print_sheet,
    ("POST", "/sheets/{sheet}/taught"): taught,
    ("POST", "/api/sheets/{sheet}/taught"): taught,
    ("POST", "/sheets/{sheet}/handed-over"): hand_over,
    ("POST", "/api/sheets/{sheet}/handed-over"): hand_over,
    ("POST", "/patients/{code}/call"): call_patient,
    ("POST", "/api/patients/{code}/attempts"): call_patient,
    ("POST", "/patients/{code}/walk-in"): walk_in,
    ("POST", "/api/patients/{code}/walk-in"): walk_in,
    ("POST", "/patients/{code}/take-back"): take_back,
    ("POST", "/api/patients/{code}/take-back"): take_back,
    ("POST", "/patients/{code}/following"): following,
    ("POST", "/api/patients/{code}/following"): following,
    ("POST", "/patients/{code}/messages"): agree,
    ("PUT", "/api/patients/{code}/messages"): agree,
    ("DELETE", "/api/patients/{code}/messages"): stop,
    ("POST", "/trips/{trip}/move"): move,
    ("POST", "/api/visits/{trip}/move"): move,
    ("POST", "/trips/{trip}/book"): book,
    ("POST", "/api/visits/{trip}/book"): book,
    ("POST", "/trips/{trip}/arrived"): arrive,
    ("POST", "/api/visits/{trip}/arrived"): arrive,
    ("POST", "/trips/{trip}/no-show"): stay_away,
    ("POST", "/api/visits/{trip}/no-show"): stay_away,
    ("POST", "/trips/{trip}/seen"): seen,
    ("POST", "/api/visits/{trip}/seen"): seen,
    ("POST", "/bottles"): count_bottles,
    ("POST", "/api/bottles/counts"): count_bottles,
    ("POST", "/bottles/{code}/given"): give_bottles,
    ("POST", "/api/bottles/{code}/given"): give_bottles,
    ("POST", "/bottles/{code}/take-back"): take_bottles_back,
    ("POST", "/api/bottles/{code}/take-back"): take_bottles_back,
    ("POST", "/messages/{message}/again"): message_again,
    ("POST", "/api/messages/{message}/again"): message_again,
    ("POST", "/erase"): erase,
    ("POST", "/api/patients/{code}/erasing"): erase,
    ("POST", "/calendar"): calendar,
    ("PUT", "/api/calendar"): calendar,
    ("POST", "/staff"): add_person,
    ("POST", "/api/staff"): add_person,
    ("POST", "/staff/{login}"): change_person,
    ("PUT", "/api/staff/{login}"): change_person,
    ("POST", "/roles/{asked}"): decide_role,
    ("POST", "/api/roles/{asked}"): decide_role,
    ("POST", "/sessions/{session}/end"): end_log_in,
    ("DELETE", "/api/sessions/{session}"): end_log_in,
    ("POST", "/sessions/end-others"): end_other_log_ins,
    ("DELETE", "/api/sessions"): end_other_log_ins,
}
WRITES = sorted(key for key in TABLE if key[0] != "GET")


def test_every_route_that_changes_something_has_its_pair():
    assert sorted({*PAIRS, *ASKS}) == WRITES
    assert not set(PAIRS) & ASKS


@pytest.fixture
def scene(house, form_of, empty_paper):
    return Scene(house, form_of)


# What page and program do is the same function behind two routes: one is tried on each database.
DATABASES = [("postgresql" if "/api/" in route[1] else "sqlite", route) for route in PAIRS]


@pytest.mark.parametrize(
    ("database_kind", "route"), DATABASES, ids=[f"{kind}-{' '.join(route)}" for kind, route in DATABASES]
)
def test_two_at_once_lose_and_double_nothing_and_the_loser_is_told(scene, database_kind, route):
    approving = "protocol/sign" in route[1]
    if not approving:
        scene.house.sign_protocol()
    for _ in range(1 if approving else ROUNDS):
        calls, judge = PAIRS[route](scene, route[1].startswith("/api/"))
        assert any(call.method == route[0] for call in calls)
        judge(at_once(scene, calls))
    with scene.read() as session:
        verify_journal(session)


def at_once(scene: Scene, calls: Sequence[Call]) -> list[Any]:
    """The answers to the calls, sent at the same moment by people who have all logged in before.

    Every statement is held up a little, so that they get in between each other.
    """
    for number, call in enumerate(calls):
        if call.who:
            scene.someone(call.who, number)
    start, answers, chance = threading.Barrier(len(calls)), [None] * len(calls), random.Random(36)

    def hold_up(*_: Any) -> None:
        time.sleep(chance.random() * 0.004)

    def send(number: int, call: Call) -> None:
        start.wait()
        answers[number] = scene.send(call, number)

    threads = [threading.Thread(target=send, args=one) for one in enumerate(calls)]
    event.listen(scene.house.store.engine, "before_cursor_execute", hold_up)
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    event.remove(scene.house.store.engine, "before_cursor_execute", hold_up)
    assert all(answers), "a call was never answered"
    return answers


@pytest.mark.usefixtures("database_kind")
def test_of_three_managers_who_demote_each_other_at_once_one_is_left(scene):
    scene.house.sign_protocol()
    for number in range(ROUNDS):
        logins = [f"m{number}-{i}" for i in range(3)]
        with scene.house.store.write(SYSTEM, scene.house.clock.now) as unit:
            for login in logins:
                add_staff(unit, login=login, name="M", roles=["manager"], password_hash=scene.hashed)
        sent = {"roles": ["reception"], "active": True, "password": PASSWORD}
        calls = [Call(who, f"/api/staff/{logins[i - 1]}", sent, "PUT") for i, who in enumerate(logins)]
        answers = at_once(scene, calls)
        with scene.read() as session:
            left = [one.login for one in all_staff(session) if one.login in logins and "manager" in one.roles]
        assert len(left) == 3 - len(taken(answers)) >= 1


@pytest.mark.parametrize("spelt", ["MANAGER", "Manager ", "\uff2d\uff41\uff4eager", "man\u24d0ger"])
def test_the_last_manager_stays_whatever_the_log_in_is_written_like(scene, spelt):
    """Capitals, a blank, full-width letters, a letter in a circle: NFKC and no case (Unicode, UAX #15)."""
    sent = {"roles": ["reception"], "active": True, "password": PASSWORD}
    answer = scene.send(Call("manager", f"/api/staff/{spelt}", sent, "PUT"))
    assert (answer.status_code, answer.json()["code"]) == (422, "staff.self")


def test_whoever_lost_the_role_meanwhile_stores_nothing(scene):
    """The request was let in before; what it stores is looked at again by who may do it now."""
    from followup.errors import FollowupError
    from followup.records.house.staff import change_staff

    with scene.read() as session:
        actor = staff_by_login(session, "reception").actor
    with scene.house.store.write(SYSTEM, scene.house.clock.now) as unit:
        change_staff(unit, login="reception", roles=["pharmacy"])
    with (
        pytest.raises(FollowupError) as caught,
        scene.house.store.write(actor, scene.house.clock.now) as unit,
    ):
        unit.log("something", "clinic")
    assert caught.value.code == "role.missing"
