"""Pairs at sheets, visits, calls, messages, bottles, the calendar and staff."""

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

from followup.records.desk.attempts import attempts_of, standing_of
from followup.records.desk.handing import handings
from followup.records.house.clinics import get_clinic
from followup.records.house.staff import add_staff, staff_by_login
from followup.records.people.messages import message_choice, queue_message, unsent_messages
from followup.records.people.patients import newest_record, patient_by_code
from followup.records.plans.desk_notes import stock, teach_back_of
from followup.records.plans.sheets import sheets_of
from followup.records.views import SYSTEM


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


def _waiting(scene: Scene, code: str) -> dict[str, Any]:
    found = scene.done(Call("pharmacy", "/api/bottles/waiting", method="GET"))
    return next(one for one in found["today"] if one["patient"]["code"] == code)


def give_bottles(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """Two give the same bottles: they are given once."""
    code, _ = scene.signed()
    waits = _waiting(scene, code)
    keys = [one["key"] for one in waits["bottles"]]
    sent = {"plan": waits["plan"], "bottles": keys} if api else {"plan": str(waits["plan"]), "bottle": keys}
    call = Call("pharmacy", f"{'/api' if api else ''}/bottles/{code}/given", sent)

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert scene.told(code, "bottles given") == 1
        given = scene.of(code, lambda session, who: handings(session, [who]))
        assert [len(one.bottles) for one in given] == [len(keys)]

    return [call, call], judge


def take_bottles_back(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    code, _ = scene.signed()
    waits = _waiting(scene, code)
    sent = {"plan": waits["plan"], "bottles": [one["key"] for one in waits["bottles"]]}
    scene.done(Call("pharmacy", f"/api/bottles/{code}/given", sent))
    noted = scene.done(Call("pharmacy", "/api/bottles/waiting", method="GET"))["noted"]
    (entry,) = (one["entry"] for one in noted if one["code"] == code)
    path = f"{'/api' if api else ''}/bottles/{code}/take-back"
    call = Call("pharmacy", path, {"entry": entry if api else str(entry)})

    def judge(answers: Sequence[Any]) -> None:
        all_of(answers)
        assert scene.told(code, "taken back") == 1
        assert scene.of(code, lambda session, who: handings(session, [who])) == ()

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


def erase(scene: Scene, api: bool) -> tuple[list[Call], Judge]:
    """Two managers, or one twice: it goes once."""
    code = _overdue(scene)
    gone = {"standing": "moved away", "reason": "far away now"}
    scene.done(Call("reception", f"/api/patients/{code}/following", gone))
    path = f"/api/patients/{code}/erasing" if api else "/erase"
    sent = {"password": PASSWORD} if api else {"password": PASSWORD, "code": code}
    calls = [Call("manager", path, sent) for _ in range(2)]

    def judge(answers: Sequence[Any]) -> None:
        one_of(answers)
        assert scene.told(code, "patient erased") == 1
        with scene.read() as session:
            assert patient_by_code(session, code).telephones == ()

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
    sent = {"login": login, "roles": ["reception"], "password": PASSWORD, "new_password": PASSWORD}
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
    roles = ["pharmacy", "manager"]
    path, method = (f"/api/staff/{login}", "PUT") if api else (f"/staff/{login}", "POST")
    active = True if api else "yes"
    sent = {"active": active, "seen": seen, "password": PASSWORD}
    calls = [Call("manager", path, sent | {"roles": [r]}, method) for r in roles]

    def judge(answers: Sequence[Any]) -> None:
        kept = one_of(answers)
        with scene.read() as session:
            assert staff_by_login(session, login).roles == {roles[kept]}

    return calls, judge
