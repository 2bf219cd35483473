"""Everything that writes, done by two at once: nothing acknowledged is lost or doubled, the loser is told.

The table of pairs is made from the table of routes: a route that changes something and has no pair
fails the first test. What is stored is looked at afterwards, never what the answers say alone.
"""

from __future__ import annotations

import json
import random
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import Any

import pytest
from sqlalchemy import event

from followup.desks.permissions import TABLE
from followup.records.attempts import attempts_of, standing_of
from followup.records.clinics import get_clinic
from followup.records.desk_notes import stock, teach_back_of
from followup.records.journal import journal_of, verify_journal
from followup.records.messages import message_choice, queue_message, unsent_messages
from followup.records.oplist import operation_list
from followup.records.patients import newest_record, patient_by_code, record_versions
from followup.records.plans import plans_of
from followup.records.sheets import sheets_of
from followup.records.staff import add_staff, all_staff, staff_by_login
from followup.records.trips import trips_of
from followup.records.views import SYSTEM

PASSWORD = "a long enough password"
ROUNDS = 3
DAY = "2027-03-01"

# Ask something and store nothing: shown below.
ASKS = {
    ("POST", "/operations/preview"),
    ("POST", "/find"),
    ("POST", "/photo"),
    ("POST", "/api/records/preview"),
    ("POST", "/api/photo"),
    ("POST", "/api/plans/{plan}/steps/effect"),
    ("POST", "/api/patients/{code}/eyes/{eye}/looks/{on}/effect"),
}


@dataclass
class Call:
    """A request: who sends it, where to, and what."""

    who: str
    path: str
    sent: dict[str, Any] | None = None
    method: str = "POST"


@dataclass
class Scene:
    """A clinic, with somebody at each desk; every plan that is asked for is of a patient of its own."""

    house: Any
    form_of: Callable[[str], dict[str, list[str]]]
    count: int = 0
    browsers: dict[tuple[str, int], Any] = field(default_factory=dict)

    @cached_property
    def hashed(self) -> str:
        return self.house.desk.passwords.hash(PASSWORD)

    def someone(self, who: str, number: int = 0) -> Any:
        """A browser of ``who``; people who do something at once have one each."""
        key = f"{who} {self.house.clock.now}", number
        if key not in self.browsers:
            self.browsers[key] = self.house.log_in(who)
        return self.browsers[key]

    def send(self, call: Call, number: int = 0) -> Any:
        browser = self.someone(call.who, number) if call.who else self.house.browser()
        kind = "json" if call.path.startswith("/api/") else "data"
        return browser.request(call.method, call.path, **({kind: call.sent} if call.sent is not None else {}))

    def done(self, call: Call) -> Any:
        """What the answer holds, of a step that nobody contends."""
        answer = self.send(call)
        assert answer.status_code in (200, 201, 204, 303), answer.text
        return answer.json() if answer.content and call.path.startswith("/api/") else answer

    def record(self, **more: Any) -> dict[str, Any]:
        """An uneventful operation of somebody new, told so far that nothing is asked."""
        self.count += 1
        who = {
            "code": f"K-{self.count}",
            "name": "Wanjiru Ndegwa",
            "birth_year": 1955,
            "language": "en",
            "telephones": [{"number": "+44 20 7946 0123"}],
            "drops_by": {"who": "relative"},
        }
        operation = {
            "eye": "right",
            "eye_drawn": "right",
            "date": DAY,
            "procedure": "phacoemulsification",
            "cut_mm": 2.4,
            "stitches": 0,
            "chamber": "normal",
            "viscoelastic": {"removed": "all"},
            "lens": "bag",
        }
        return {"patient": who | more, "operations": [operation]}

    def drafted(self, record: dict[str, Any] | None = None) -> tuple[str, int]:
        """Code and plan of a stored record."""
        self.house.clock.on(0)
        stored = record or self.record()
        made = self.done(Call("counsellor", "/api/records", {"record": stored}))
        return stored["patient"]["code"], made["plan"]

    def signed(self) -> tuple[str, int]:
        code, plan = self.drafted()
        self.done(Call("surgeon", f"/api/plans/{plan}/sign", {"password": PASSWORD}))
        return code, plan

    def printed(self) -> tuple[str, str]:
        code, plan = self.signed()
        sheet = self.done(Call("counsellor", f"/api/plans/{plan}/sheets", {"printed": 0}))
        return code, sheet["id"]

    @contextmanager
    def read(self) -> Iterator[Any]:
        with self.house.store.read() as session:
            yield session

    def of(self, code: str, read: Callable[[Any, int], Any]) -> Any:
        """What the store holds of the patient."""
        with self.read() as session:
            return read(session, patient_by_code(session, code).id)

    def told(self, code: str, action: str) -> int:
        """How often the journal tells it of the patient."""
        return self.entries(f"patient:{code}", action)

    def entries(self, subject: str, action: str) -> int:
        with self.read() as session:
            return sum(one.action == action for one in journal_of(session, subject))

    def visits(self, code: str) -> list[Any]:
        return [one for one in self.of(code, trips_of) if one.status != "cancelled"]


Judge = Callable[[Sequence[Any]], None]
Pair = Callable[[Scene, bool], tuple[list[Call], Judge]]


def taken(answers: Sequence[Any]) -> list[int]:
    """Which were acknowledged; every other was told why in words, and none was a fault."""
    for one in answers:
        assert one.status_code in (200, 201, 204, 303, 401, 403, 404, 409, 422, 503), one.text[:300]
        if one.status_code >= 400:
            assert len(one.text) > 40
    return [i for i, one in enumerate(answers) if one.status_code in (201, 204, 303) or _is_data(one)]


def _is_data(answer: Any) -> bool:
    return answer.status_code == 200 and "json" in answer.headers.get("content-type", "")


def one_of(answers: Sequence[Any]) -> int:
    """The only one that was acknowledged."""
    found = taken(answers)
    assert len(found) == 1, [(one.status_code, one.text[:300]) for one in answers]
    return found[0]


def all_of(answers: Sequence[Any]) -> None:
    assert len(taken(answers)) == len(answers), [(one.status_code, one.text[:300]) for one in answers]


# --- who is it


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
        with scene.read() as session:
            assert staff_by_login(session, login).failed_logins == 3
        scene.house.log_in(login)

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


def _looked(scene: Scene) -> tuple[str, str, dict[str, Any]]:
    """A patient in whose eye cells were seen today: code, address of the look, what it leads to."""
    code, _ = scene.signed()
    scene.house.clock.on(7)
    look = {"eye": "right", "date": "2027-03-08", "cells": "2+", "flare": "2+", "pressure": 18}
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


def print_sheet(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """Five presses on the first sheet make one code."""
    code, plan = scene.signed()
    sent = {"printed": 0} if api else {"issue": "0"}
    call = Call("counsellor", f"{'/api' if api else ''}/plans/{plan}/sheets", sent | {"reason": "first one"})

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert len(scene.of(code, sheets_of)) == 1

    return [call] * 5, judge


def print_day(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    made = [scene.signed() for _ in range(2)]
    call = (
        Call("counsellor", f"/api/operations/sheets?on={DAY}")
        if api
        else Call("counsellor", "/operations/sheets", {"on": DAY})
    )

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert [len(scene.of(code, sheets_of)) for code, _ in made] == [1, 1]

    return [call, call], judge


def taught(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    _, sheet = scene.printed()
    shown = [[0], [1, 2]]
    sent = [{"shown": lines if api else [str(line) for line in lines]} for lines in shown]
    calls = [Call("counsellor", f"{'/api' if api else ''}/sheets/{sheet}/taught", one) for one in sent]

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        with scene.read() as session:
            assert list(teach_back_of(session, sheet).shown) in shown
        assert scene.entries(f"sheet:{sheet}", "taught") == 2

    return calls, judge


def hand_over(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, sheet = scene.printed()
    who = ["her daughter", "her son"]
    path = f"{'/api' if api else ''}/sheets/{sheet}/handed-over"
    calls = [Call("counsellor", path, {"to": name, "how": "paper"}) for name in who]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        assert scene.of(code, sheets_of)[0].handed_to == who[kept]
        assert scene.told(code, "sheet handed over") == 1

    return calls, judge


# --- reception


def move(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, _ = scene.signed()
    visit = scene.visits(code)[-1]
    found = scene.done(Call("reception", f"/api/visits/{visit.id}/days", method="GET"))["days"]
    days = [one["day"] for one in found if one["possible"] and one["away"] > 0][:2]
    path = f"/api/visits/{visit.id}/move" if api else f"/trips/{visit.id}/move"
    calls = [Call("reception", path, {"day": day, "seen": visit.day.isoformat()}) for day in days]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        assert scene.visits(code)[-1].day.isoformat() == days[kept]

    return calls, judge


def book(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """A day is promised while the visit is moved: whoever promised another day is told."""
    code, _ = scene.signed()
    visit = scene.visits(code)[-1]
    found = scene.done(Call("reception", f"/api/visits/{visit.id}/days", method="GET"))["days"]
    day, seen = (
        next(one["day"] for one in found if one["possible"] and one["away"] > 0),
        visit.day.isoformat(),
    )
    if api:
        booking = Call("reception", f"/api/visits/{visit.id}/book", {"seen": seen})
    else:
        booking = Call("reception", f"/trips/{visit.id}/book", {"seen": seen})
    moving = Call("reception", f"/api/visits/{visit.id}/move", {"day": day, "seen": seen})

    def judge(answers: Sequence[Any]) -> None:
        kept, now = taken(answers), scene.visits(code)[-1]
        assert scene.told(code, "visit booked") == (0 in kept) + (1 in kept)
        assert (now.day.isoformat() == day) == (2 in kept)
        # Booked twice never; booked on the other day never: it was not the one that was promised.
        assert len({0, 1} & set(kept)) <= 1
        assert kept

    return [booking, booking, moving], judge


def arrive(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, _ = scene.signed()
    scene.house.clock.on(1, 4)
    visit = scene.visits(code)[0]
    path = f"/api/visits/{visit.id}/arrived" if api else f"/trips/{visit.id}/arrived"
    calls = [Call("reception", path, {"nonce": f"{who}{scene.count:019d}"}) for who in "yz"]

    def judge(answers: Sequence[Any]) -> None:
        one_of(answers)
        assert scene.told(code, "arrived") == 1

    return calls, judge


def stay_away(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """One marks that nobody came, another that the patient is here: not both."""
    code, _ = scene.signed()
    scene.house.clock.on(1, 4)
    visit = scene.visits(code)[0]
    path = f"/api/visits/{visit.id}/no-show" if api else f"/trips/{visit.id}/no-show"
    call = Call("reception", path, None if api else {})

    def judge(answers: Sequence[Any]) -> None:
        one_of(answers)
        assert (scene.told(code, "did not come"), scene.visits(code)[0].status) == (1, "noshow")

    return [call, call], judge


def seen(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, _ = scene.signed()
    scene.house.clock.on(1, 4)
    visit = scene.visits(code)[0]
    path = f"/api/visits/{visit.id}/seen" if api else f"/trips/{visit.id}/seen"
    call = Call("surgeon", path, {"served": list(visit.serves)})

    def judge(answers: Sequence[Any]) -> None:
        one_of(answers)
        assert scene.told(code, "visit done") == 1

    return [call, call], judge


def leave(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, _ = scene.signed()
    scene.house.clock.on(1, 4)
    visit = scene.visits(code)[0]
    scene.done(Call("reception", f"/api/visits/{visit.id}/arrived", {"nonce": f"l{scene.count:019d}"}))
    path = f"/api/visits/{visit.id}/left" if api else f"/trips/{visit.id}/left"
    call = Call("reception", path, None if api else {})

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert scene.told(code, "left without findings") == 1

    return [call, call], judge


def check_before_leaving(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """Two measure the pressure before the patient leaves: the first stands, the other is told."""
    record = scene.record()
    record["operations"][0] |= {"end": "10:00", "viscoelastic": {"removed": "doubtful"}}
    code, _ = scene.drafted(record)
    path = f"{'/api' if api else ''}/patients/{code}/leaving"
    given = [16, 18]
    key = "right:before-leaving-pressure"
    calls = [Call("counsellor", path, {"key": key, "mmhg": n if api else str(n)}) for n in given]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        looks = scene.of(code, newest_record).record.reviews
        assert [look.pressure for look in looks] == [given[kept]]
        assert scene.told(code, "checked before leaving") == 1

    return calls, judge


def close_alert(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, _ = scene.signed()
    said = {"why": "a red eye", "signs": ["redness grows"], "nonce": f"d{scene.count:019d}"}
    scene.done(Call("reception", f"/api/patients/{code}/walk-in", said))
    alerts = scene.done(Call("surgeon", "/api/alerts", method="GET"))
    number = next(one["id"] for one in alerts if one["patient"]["code"] == code)
    path = f"{'/api' if api else ''}/patients/{code}/alerts/{number}/close"
    calls = [Call("surgeon", path, {"word": word}) for word in ("looked at", "sent on")]

    def judge(answers: Sequence[Any]) -> None:
        one_of(answers)
        assert scene.told(code, "walk-in closed") == 1

    return calls, judge


def walk_in(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, _ = scene.signed()
    before = len(scene.visits(code))
    path = f"{'/api' if api else ''}/patients/{code}/walk-in"
    said: dict[str, object] = {"signs": []} if api else {f"sign.{number}": "no" for number in range(4)}
    call = Call("reception", path, said | {"why": "to ask", "nonce": f"w{scene.count:019d}"})

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert len(scene.visits(code)) == before + 1

    return [call, call], judge


def _overdue(scene: Scene) -> str:
    code, _ = scene.signed()
    scene.house.clock.on(20)
    return code


def call_patient(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """A form that is pressed twice counts once; another's call counts too."""
    code = _overdue(scene)
    path = f"/api/patients/{code}/attempts" if api else f"/patients/{code}/call"
    nonces = [f"a{scene.count:019d}", f"a{scene.count:019d}", f"b{scene.count:019d}"]
    calls = [Call("reception", path, {"way": "call", "outcome": "no answer", "nonce": one}) for one in nonces]

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert len(scene.of(code, lambda s, number: attempts_of(s, [number])[number])) == 2

    return calls, judge


def take_back(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code = _overdue(scene)
    sent = {"way": "call", "outcome": "no answer", "nonce": f"c{scene.count:019d}"}
    scene.done(Call("reception", f"/api/patients/{code}/attempts", sent))
    noted = scene.done(Call("reception", f"/api/patients/{code}", method="GET"))["noted"]
    entry = noted[0]["entry"]
    path = f"{'/api' if api else ''}/patients/{code}/take-back"
    call = Call("reception", path, {"entry": entry if api else str(entry)})

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert scene.told(code, "taken back") == 1

    return [call, call], judge


def following(
    scene: Scene, api: bool, who: str = "reception", path: str = "following"
) -> tuple[list[Call], Judge]:
    code = _overdue(scene)
    words = ["moved away", "died"]
    where = f"{'/api' if api else ''}/patients/{code}/{path}"
    calls = [Call(who, where, {"standing": words[0], "reason": f"told {i}"}) for i in range(2)]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        stands = scene.of(code, standing_of)
        assert (stands.standing, stands.reason) == (words[0], f"told {kept}")
        assert scene.told(code, "standing changed") == 1

    return calls, judge


def agree(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, _ = scene.signed()
    readers = ["patient", "carer"]
    path = f"{'/api' if api else ''}/patients/{code}/messages"
    if api:
        given = {"consent": True, "channel": "paper"}
        calls = [Call("reception", path, given | {"reader": reader}, "PUT") for reader in readers]
    else:
        given = {"answer": "yes", "channel": "paper"}
        calls = [Call("reception", path, given | {"reader": reader}) for reader in readers]

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert scene.of(code, message_choice).reader in readers
        assert scene.told(code, "messages chosen") == 2

    return calls, judge


def stop(scene: Scene, _api: bool) -> tuple[list[Call], Judge]:
    code, _ = scene.signed()
    path = f"/api/patients/{code}/messages"
    scene.done(Call("reception", path, {"consent": True, "channel": "paper"}, "PUT"))
    call = Call("reception", path, method="DELETE")

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert scene.of(code, message_choice).stopped_at is not None

    return [call, call], judge


# --- pharmacy and manager


def count_bottles(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """Two count two medicines: both counts stand."""
    keys = sorted(scene.house.desk.protocol.formulary)[scene.count % 5 :][:2]
    scene.count += 1
    if api:
        calls = [
            Call("pharmacy", "/api/bottles/counts", {"counts": {key: 7 + i}}) for i, key in enumerate(keys)
        ]
    else:
        calls = [Call("pharmacy", "/bottles", {f"stock.{key}": str(7 + i)}) for i, key in enumerate(keys)]

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        with scene.read() as session:
            counted = stock(session)
        assert [counted[key].bottles for key in keys] == [7, 8]

    return calls, judge


def message_again(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, _ = scene.signed()
    now = scene.house.clock.now
    with scene.house.store.write(SYSTEM, now) as unit:
        queue_message(
            unit,
            patient_code=code,
            key=f"r-{code}",
            patient_id=patient_by_code(unit.session, code).id,
            kind="reminder",
            day=now.date(),
            last_useful=now.date(),
            language="en",
            reader="patient",
            channel="mail",
            address="wanjiru@clinic.example",
            text="Come.",
            segments=1,
            next_try=now,
        )
    with scene.house.store.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE message SET state = 'failed'")
    with scene.read() as session:
        number = unsent_messages(session)[-1].id
    call = Call("manager", f"{'/api' if api else ''}/messages/{number}/again", None if api else {})

    def judge(answers: Sequence[Any]) -> None:
        kept = taken([one for one in answers if one.status_code != 404])
        assert len(kept) == 1
        assert scene.told(code, "message to be tried again") == 1

    return [call, call], judge


def calendar(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """Three calendars with the same ``seen``."""
    scene.count += 1
    days = [f"2029-{month:02d}-{1 + scene.count % 28:02d}" for month in (1, 2, 3)]
    if api:
        found = scene.done(Call("manager", "/api/calendar", method="GET"))
        calls = [
            Call(
                "manager",
                "/api/calendar",
                {"calendar": found["calendar"] | {"holidays": [day]}, "seen": found["seen"]},
                "PUT",
            )
            for day in days
        ]
    else:
        form = scene.form_of(scene.someone("manager").get("/calendar").text)
        calls = [Call("manager", "/calendar", form | {"holidays": [day]}) for day in days]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        with scene.read() as session:
            assert json.loads(get_clinic(session).calendar)["holidays"] == [days[kept]]

    return calls, judge


def add_person(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    scene.count += 1
    login = f"new-{scene.count}"
    sent = {"login": login, "roles": ["reception"], "password": PASSWORD}
    calls = [
        Call("manager", "/api/staff" if api else "/staff", sent | {"name": name}) for name in ("Asha", "Li")
    ]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        with scene.read() as session:
            assert staff_by_login(session, login).name == ("Asha", "Li")[kept]

    return calls, judge


def change_person(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """Two change one person, each from what was there before."""
    scene.count += 1
    login = f"old-{scene.count}"
    with scene.house.store.write(SYSTEM, scene.house.clock.now) as unit:
        seen = add_staff(unit, login=login, name="A", roles=["reception"], password_hash="-").mark
    roles = ["pharmacy", "counsellor"]
    path, method = (f"/api/staff/{login}", "PUT") if api else (f"/staff/{login}", "POST")
    active = True if api else "yes"
    calls = [Call("manager", path, {"roles": [r], "active": active, "seen": seen}, method) for r in roles]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        with scene.read() as session:
            assert staff_by_login(session, login).roles == {roles[kept]}

    return calls, judge


PAIRS: dict[tuple[str, str], Pair] = {
    ("POST", "/log-in"): log_in,
    ("POST", "/api/session"): log_in,
    ("POST", "/log-out"): log_out,
    ("DELETE", "/api/session"): log_out,
    ("POST", "/password"): password,
    ("PUT", "/api/session/password"): password,
    ("POST", "/protocol/sign"): approve,
    ("POST", "/api/protocol/sign"): approve,
    ("POST", "/operations/list"): paste_list,
    ("PUT", "/api/operations"): put_list,
    ("POST", "/api/operations"): add_lines,
    ("POST", "/operations/new"): partial(new_record, form=True),
    ("POST", "/operations/paste"): new_record,
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
    ("POST", "/messages/{message}/again"): message_again,
    ("POST", "/api/messages/{message}/again"): message_again,
    ("POST", "/calendar"): calendar,
    ("PUT", "/api/calendar"): calendar,
    ("POST", "/staff"): add_person,
    ("POST", "/api/staff"): add_person,
    ("POST", "/staff/{login}"): change_person,
    ("PUT", "/api/staff/{login}"): change_person,
}
WRITES = sorted(key for key in TABLE if key[0] != "GET")


def test_every_route_that_changes_something_has_its_pair():
    assert sorted({*PAIRS, *ASKS}) == WRITES
    assert not set(PAIRS) & ASKS


@pytest.fixture
def scene(house, form_of):
    """A clinic in which every statement may be held up a little, so that two get in between each other."""
    chance = random.Random(36)

    def hold_up(*_: Any) -> None:
        if threading.current_thread() is not threading.main_thread():
            time.sleep(chance.random() * 0.004)

    event.listen(house.store.engine, "before_cursor_execute", hold_up)
    yield Scene(house, form_of)
    event.remove(house.store.engine, "before_cursor_execute", hold_up)


@pytest.mark.parametrize("route", PAIRS, ids=lambda route: " ".join(route))
def test_two_at_once_lose_and_double_nothing_and_the_loser_is_told(scene, route):
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
    """The answers to the calls, sent at the same moment by people who have all logged in before."""
    for number, call in enumerate(calls):
        if call.who:
            scene.someone(call.who, number)
    start, answers = threading.Barrier(len(calls)), [None] * len(calls)

    def send(number: int, call: Call) -> None:
        start.wait()
        answers[number] = scene.send(call, number)

    threads = [threading.Thread(target=send, args=one) for one in enumerate(calls)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert all(answers), "a call was never answered"
    return answers


def test_of_three_managers_who_demote_each_other_at_once_one_is_left(scene):
    scene.house.sign_protocol()
    for number in range(ROUNDS):
        logins = [f"m{number}-{i}" for i in range(3)]
        with scene.house.store.write(SYSTEM, scene.house.clock.now) as unit:
            for login in logins:
                add_staff(unit, login=login, name="M", roles=["manager"], password_hash=scene.hashed)
        sent = {"roles": ["reception"], "active": True}
        calls = [Call(who, f"/api/staff/{logins[i - 1]}", sent, "PUT") for i, who in enumerate(logins)]
        answers = at_once(scene, calls)
        with scene.read() as session:
            left = [one.login for one in all_staff(session) if one.login in logins and "manager" in one.roles]
        assert len(left) == 3 - len(taken(answers)) >= 1


def test_the_last_manager_stays_whatever_the_log_in_is_written_like(scene):
    answer = scene.send(
        Call("manager", "/api/staff/MANAGER", {"roles": ["reception"], "active": True}, "PUT")
    )
    assert (answer.status_code, answer.json()["code"]) == (422, "staff.self")


def test_whoever_lost_the_role_meanwhile_stores_nothing(scene):
    """The request was let in before; what it stores is looked at again by who may do it now."""
    from followup.errors import FollowupError
    from followup.records.staff import change_staff

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
