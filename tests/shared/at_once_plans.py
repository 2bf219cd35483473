"""Pairs at the log-in, the operation list, records, looks and plans."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from at_once_scene import (
    DAY,
    PASSWORD,
    Call,
    Judge,
    Scene,
    all_of,
    one_of,
    taken,
)

from followup.records.house.staff import add_staff, staff_by_login
from followup.records.house.wrong_logins import WAITS, forget_wrong_logins, seconds_to_wait
from followup.records.people.oplist import operation_list
from followup.records.people.patients import newest_record, record_versions
from followup.records.plans.plans import plans_of
from followup.records.views import SYSTEM


def log_in(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """Wrong passwords are all counted; right ones all open a session."""
    path = "/api/session" if api else "/log-in"
    login = f"asha-{scene.count}"
    with scene.house.store.write(SYSTEM, scene.house.clock.now) as unit:
        add_staff(unit, login=login, name="Asha", roles=["reception"], password_hash=scene.hashed)
    scene.count += 1
    wrong = [Call("", path, {"login": login, "password": f"not this one {i}"}) for i in range(3)]

    def judge(answers: Sequence[Any]) -> None:
        assert taken(answers) == []
        now = scene.house.clock.now
        with scene.read() as session:
            assert seconds_to_wait(session, login=login, origin="testclient", now=now) == WAITS[3].seconds
        with scene.house.store.upkeep(now) as unit:
            forget_wrong_logins(unit, login=login)
        scene.house.log_in(login, PASSWORD)

    return wrong, judge


def log_out(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    call = Call("pharmacy", "/api/session", method="DELETE") if api else Call("pharmacy", "/log-out", {})

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert all(
            b.get("/bottles").status_code == 303
            for (who, _), b in scene.browsers.items()
            if "pharmacy" in who
        )
        scene.browsers.clear()

    return [call, call], judge


def password(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    login = f"asha-{scene.count}"
    scene.count += 1
    with scene.house.store.write(SYSTEM, scene.house.clock.now) as unit:
        add_staff(unit, login=login, name="Asha", roles=["reception"], password_hash=scene.hashed)
    new = [f"another long one {i}" for i in range(2)]
    path, method = ("/api/session/password", "PUT") if api else ("/password", "POST")
    calls = [Call(login, path, {"old": PASSWORD, "new": one}, method) for one in new]

    def judge(answers: Sequence[Any]) -> None:
        scene.house.log_in(login, new[one_of(answers)])

    return calls, judge


def own_language(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """Both are right; whichever came last holds."""
    login = f"asha-{scene.count}"
    scene.count += 1
    with scene.house.store.write(SYSTEM, scene.house.clock.now) as unit:
        add_staff(unit, login=login, name="Asha", roles=["reception"], password_hash=scene.hashed)
    path, method = ("/api/session/language", "PUT") if api else ("/language", "POST")
    calls = [Call(login, path, {"language": tag}, method) for tag in ("fr", "hi")]

    def judge(answers: Sequence[Any]) -> None:
        assert all(answer.status_code in (204, 303) for answer in answers), answers
        with scene.house.store.read() as session:
            found = staff_by_login(session, login)
        assert found is not None
        assert found.language in ("fr", "hi")

    return calls, judge


def approve(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    protocol = scene.house.desk.protocol
    path = "/api/protocol/sign" if api else "/protocol/sign"
    call = Call(
        "surgeon", path, {"hash": protocol.hash, "password": PASSWORD} | ({} if api else {"read": "yes"})
    )

    def judge(answers: Sequence[Any]) -> None:
        taken(answers)
        assert scene.entries(f"protocol:{protocol.hash[:12]}", "protocol signed") == 1

    return [call, call], judge


# --- operations and records


def paste_list(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """A pasted list never takes out what another stored meanwhile without saying so."""
    scene.count += 2
    day = scene.house.clock.now.date().replace(day=2 + scene.count % 27)
    codes = [f"Q-{scene.count}", f"Q-{scene.count + 1}"]
    calls = [
        Call("counsellor", "/operations/list", {"on": day.isoformat(), "lines": f"{code}, Li Wei, left"})
        for code in codes
    ]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        assert "takes 1 line out" in answers[1 - kept].text
        with scene.read() as session:
            assert [line.patient_code for line in operation_list(session, day)] == [codes[kept]]

    return calls, judge


def put_list(scene: Scene, _api: bool) -> tuple[list[Call], Judge]:
    """Set in place of what stood there: in the end one of both, whole."""
    day = scene.house.clock.now.date()
    lists = [[{"code": f"{name}-{i}", "name": "Li Wei", "eye": "left"} for i in range(3)] for name in "AB"]
    calls = [
        Call("counsellor", "/api/operations", {"on": day.isoformat(), "lines": lines}, "PUT")
        for lines in lists
    ]

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        with scene.read() as session:
            stored = [line.patient_code for line in operation_list(session, day)]
        assert stored in [[line["code"] for line in lines] for lines in lists]

    return calls, judge


def add_lines(scene: Scene, _api: bool) -> tuple[list[Call], Judge]:
    """Six people each add a line to one list."""
    scene.count += 1
    day = scene.house.clock.now.date().replace(day=2 + scene.count % 27)
    codes = [f"L-{i}" for i in range(6)]
    calls = [
        Call(
            "counsellor",
            "/api/operations",
            {"on": day.isoformat(), "lines": [{"code": c, "name": "Li Wei", "eye": "left"}]},
        )
        for c in codes
    ]

    def judge(answers: Sequence[Any]) -> None:
        kept = taken(answers)
        with scene.read() as session:
            stored = [line.patient_code for line in operation_list(session, day)]
        assert sorted(stored) == [codes[i] for i in kept]
        assert len(kept) == 6

    return calls, judge


def new_record(scene: Scene, api: bool, form: bool = False) -> tuple[list[Call], Judge]:
    """Two people give one code to two patients: one keeps it. One form pressed twice is stored once."""
    mine, same = scene.record(), scene.count % 2 == 0
    other = json.loads(json.dumps(mine))
    if not same:
        other["patient"]["name"] = "Li Wei"
    if api:
        calls = [Call("counsellor", "/api/records", {"record": one}) for one in (mine, other)]
    elif form:
        typed = {
            "patient.code": mine["patient"]["code"],
            "patient.birth_year": "1955",
            "operations.0.eye": "right",
            "operations.0.eye_drawn": "right",
            "operations.0.date": DAY,
            "operations.0.procedure": "phacoemulsification",
        }
        names = [one["patient"]["name"] for one in (mine, other)]
        calls = [Call("counsellor", "/operations/new", typed | {"patient.name": name}) for name in names]
    else:
        calls = [Call("counsellor", "/operations/paste", {"text": json.dumps(one)}) for one in (mine, other)]

    def judge(answers: Sequence[Any]) -> None:
        kept = taken(answers)
        assert len(kept) == (2 if same else 1), [one.text[:300] for one in answers]
        code = mine["patient"]["code"]
        assert len(scene.of(code, record_versions)) == len(scene.of(code, plans_of)) == 1
        name = [mine, other][kept[0]]["patient"]["name"]
        assert scene.of(code, newest_record).record.patient.name == name

    return calls, judge


def correct(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    record = scene.record()
    code, _ = scene.drafted(record)
    names = ["Wanjiru Otieno", "Wanjiru Kamau"]
    if api:
        calls = [
            Call(
                "counsellor",
                f"/api/patients/{code}/record",
                {"seen": 1, "record": record | {"patient": record["patient"] | {"name": name}}},
                "PUT",
            )
            for name in names
        ]
    else:
        path = f"/patients/{code}/record"
        page = scene.someone("counsellor").get(path).text
        calls = [Call("counsellor", path, scene.form_of(page) | {"patient.name": [name]}) for name in names]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        assert scene.of(code, newest_record).record.patient.name == names[kept]
        assert len(scene.of(code, record_versions)) == 2

    return calls, judge


def findings(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, _ = scene.signed()
    scene.house.clock.on(7)
    seen = ["2+", "1+"]
    path = f"/patients/{code}/eyes/right/findings"
    look = {"eye": "right", "date": "2027-03-08", "flare": "1+", "pressure": 18}
    if api:
        calls = [Call("counsellor", f"/api{path}", {"seen": 1, "look": look | {"cells": c}}) for c in seen]
    else:
        typed = {"seen": "1", "reviews.0.flare": "1+", "reviews.0.pressure": "18"}
        calls = [Call("counsellor", path, typed | {"reviews.0.cells": cells}) for cells in seen]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        assert scene.of(code, newest_record).record.reviews[-1].cells == seen[kept]
        assert len(scene.of(code, record_versions)) == 2

    return calls, judge


def _looked(scene: Scene, cells: str = "2+") -> tuple[str, str, dict[str, Any]]:
    """A patient in whose eye cells were seen today: code, address of the look, what it leads to."""
    code, _ = scene.signed()
    scene.house.clock.on(7)
    look = {"eye": "right", "date": "2027-03-08", "cells": cells, "flare": "1+", "pressure": 18}
    signs = ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin")
    look |= dict.fromkeys(signs, "no")
    path = f"/patients/{code}/eyes/right"
    leads = scene.done(Call("counsellor", f"/api{path}/findings", {"seen": 1, "look": look}))
    return code, f"{path}/looks/2027-03-08", leads


def refuse_look(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, path, _ = _looked(scene)
    where, sent = (f"/api{path}/refuse", {}) if api else (path, {"refuse": "yes"})
    call = Call("surgeon", where, sent | {"reason": "wait for tomorrow"})

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert scene.told(code, "proposals decided") == 1

    return [call, call], judge


def go_on_look(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, path, _ = _looked(scene, "0")
    call = Call("surgeon", f"/api{path}/go-on") if api else Call("surgeon", path, {"go_on": "yes"})

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert scene.told(code, "proposals decided") == 1

    return [call, call], judge


def take_look(scene: Scene, _api: bool) -> tuple[list[Call], Judge]:
    code, path, leads = _looked(scene)
    chosen = next(p for p in leads["outcome"]["proposals"] if any("steps" in a for a in p["adjustments"]))
    sent = {"take": [chosen["id"]], "seen": leads["plan_number"]}
    calls = [
        Call("surgeon", f"/api{path}/take", sent | {"reason": why}) for why in ("first why", "second why")
    ]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        newest = scene.of(code, plans_of)[0]
        assert ("first why", "second why")[kept] in newest.reason
        assert scene.told(code, "proposals decided") == 1

    return calls, judge


# --- plans


def again(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, plan = scene.drafted()
    call = Call("surgeon", f"{'/api' if api else ''}/plans/{plan}/again", None if api else {})

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert len(scene.of(code, plans_of)) == 2

    return [call, call], judge


def answer(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    record = scene.record()
    del record["operations"][0]["viscoelastic"]
    code, plan = scene.drafted(record)
    name, said = "operations.0.viscoelastic.removed", ["all", "doubtful"]
    if api:
        sent = [{"seen": 1, "answers": {name: [word]}} for word in said]
    else:
        sent = [{"seen": "1", "answered": name, name: word} for word in said]
    calls = [Call("surgeon", f"{'/api' if api else ''}/plans/{plan}/answers", one) for one in sent]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        newest = scene.of(code, newest_record)
        assert (newest.number, newest.record.operations[0].viscoelastic.removed) == (2, said[kept])

    return calls, judge


def _steps(api: bool, times: int) -> dict[str, Any]:
    given = {"course": "right:steroid", "starts": "2027-03-03", "reason": f"{times} times"}
    if api:
        return given | {"steps": [{"times_a_day": times, "days": 7}]}
    return given | {"count": str(times), "days": "7", "store": "yes"}


def steps(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, plan = scene.drafted()
    path = f"{'/api' if api else ''}/plans/{plan}/steps"
    calls = [Call("surgeon", path, _steps(api, times)) for times in (5, 3)]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        edits = scene.of(code, plans_of)[0].edits
        assert [edit.reason for edit in edits] == [f"{(5, 3)[kept]} times"]

    return calls, judge


def step_back(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, plan = scene.drafted()
    for times in (5, 3):
        made = scene.done(Call("surgeon", f"/api/plans/{plan}/steps", _steps(True, times)))
        plan = made["about"]["id"]
    before = scene.of(code, plans_of)[0].edits
    sent = [{"change": number if api else str(number)} for number in range(1, len(before) + 1)]
    path = f"{'/api' if api else ''}/plans/{plan}/take-back"
    calls = [Call("surgeon", path, one) for one in (sent * 2)[:2]]

    def judge(answers: Sequence[Any]) -> None:
        one_of(answers)
        assert len(scene.of(code, plans_of)[0].edits) == len(before) - 1

    return calls, judge


def sign(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, plan = scene.drafted()
    call = Call("surgeon", f"{'/api' if api else ''}/plans/{plan}/sign", {"password": PASSWORD})

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert scene.told(code, "plan signed") == 1
        assert [one.status for one in scene.of(code, plans_of)] == ["active"]
        days = [one.day for one in scene.visits(code)]
        assert len(days) == len(set(days)) > 0

    return [call, call], judge


def sign_together(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    made = [scene.drafted() for _ in range(2)]
    plans = [plan for _, plan in made]
    path, sent = (
        ("/api/plans/sign", {"plans": plans}) if api else ("/waiting/sign", {"plan": [str(p) for p in plans]})
    )
    call = Call("surgeon", path, sent | {"password": PASSWORD})

    def judge(answers: Sequence[Any]) -> None:
        taken(answers)
        assert [scene.told(code, "plan signed") for code, _ in made] == [1, 1]

    return [call, call], judge


def end(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, plan = scene.signed()
    path, name = (f"/api/plans/{plan}/end", "reason") if api else (f"/plans/{plan}/end", "end_reason")
    calls = [Call("surgeon", path, {name: f"all is well {i}"}) for i in range(2)]

    def judge(answers: Sequence[Any]) -> None:
        kept = taken(answers)
        assert kept
        (ended,) = scene.of(code, plans_of)
        assert ended.status == "completed"
        assert ended.ended_reason in [f"all is well {i}" for i in kept]
        assert scene.told(code, "plan ended") == len(kept) == 1
        assert scene.visits(code) == []

    return calls, judge


def _decision(seen: int, place: str) -> dict[str, Any]:
    need = {"need": "right:first-look", "day": "2027-03-02", "why": "nearer"}
    return need | {"seen": seen, "place": place}


def decide(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """Two places for one look: one of both."""
    code, plan = scene.drafted()
    places = ["Hill clinic", "Lake clinic"]
    path = f"{'/api' if api else ''}/plans/{plan}/decisions"
    calls = [Call("surgeon", path, _decision(1, place)) for place in places]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        newest = scene.of(code, newest_record)
        assert (newest.number, places[kept] in newest.record.model_dump_json()) == (2, True)

    return calls, judge


def undecide(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, plan = scene.drafted()
    made = scene.done(Call("surgeon", f"/api/plans/{plan}/decisions", _decision(1, "Hill clinic")))
    path = f"{'/api' if api else ''}/plans/{made['about']['id']}/decisions/take-back"
    call = Call("surgeon", path, {"seen": 2, "need": "right:first-look", "day": "2027-03-02"})

    def judge(answers: Sequence[Any]) -> None:
        one_of(answers)
        newest = scene.of(code, newest_record)
        assert (newest.number, "Hill clinic" in newest.record.model_dump_json()) == (3, False)

    return [call, call], judge


# --- sheets
