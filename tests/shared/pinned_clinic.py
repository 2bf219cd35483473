"""An invented clinic whose people put every page in every state that its template tells apart."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date, timedelta
from importlib import resources
from typing import Any
from urllib.parse import quote

from pinned_rarely import rarely
from pinned_seldom import seldom
from walked import NOBODY, Walk

from followup.desks.forms import values as flat
from followup.desks.forms.shape import RECORD
from followup.records.clinics import get_clinic, put_clinic
from followup.records.staff import add_staff, change_staff
from followup.records.views import SYSTEM

SOME = ("C-0002", "C-0021", "C-0003", "C-0012", "C-0007")
PASSWORD = "a long enough password"
# What people type is text and never markup.
ODD = "<b>&\"'"
DAY0 = date(2027, 3, 1)
TOLD = dict.fromkeys(
    ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin"), "no"
)


def day(number: int) -> str:
    return (DAY0 + timedelta(days=number)).isoformat()


def case(who: str, /, **patient: Any) -> dict[str, Any]:
    """One of the twelve operations of the sample clinic, on the first of March 2027, a Monday."""
    (file,) = [
        one
        for one in (resources.files("followup") / "demo" / "cases").iterdir()
        if one.name.endswith(f"-{who}.json")
    ]
    text = re.sub(r"202[56]-\d\d-\d\d", _later, file.read_text("utf-8"))
    record: dict[str, Any] = json.loads(text)
    record["patient"] |= patient
    return record


def _later(match: re.Match[str]) -> str:
    return (date.fromisoformat(match.group()) + timedelta(days=364)).isoformat()


def routine(code: str, name: str, **operation: Any) -> dict[str, Any]:
    """An uneventful operation, told so far that nothing is asked."""
    record = case("wanjiru", code=code, name=name, language="en")
    record["operations"][0] |= operation
    return record


QUIET = {"kind": "anterior", "last_active": "2026-06-01", "herpetic": False, "infection_excluded": True}
HEALTHY = dict.fromkeys(
    (
        *("asthma", "severe_airway_disease", "slow_heart", "heart_block", "heart_failure", "mao_inhibitor"),
        *("liver_disease", "sickle_cell", "urine_retention", "tuberculosis", "syphilis"),
    ),
    False,
)


def _eye(record: dict[str, Any], **eye: Any) -> dict[str, Any]:
    """The same in an eye of which more is known, of somebody otherwise healthy."""
    record["patient"] |= {"eyes": {"right": eye}, "conditions": HEALTHY}
    return record


def walk_through(walk: Walk) -> None:
    """The story, page by page."""
    ids: dict[str, Any] = {}
    for part in (
        _before_anything,
        _records,
        _day_of_surgery,
        _sheets,
        _first_days,
        _second_week,
        _later_on,
        rarely,
        seldom,
    ):
        part(walk, ids)
    _shorten(walk)


def _shorten(walk: Walk) -> None:
    """Of long lists a few lines, one of each kind: the rest would repeat them."""
    for drawn in list(walk.drawn):
        _role, name = drawn.name.split(": ", 1)
        some: dict[str, Any] = {}
        if drawn.file == "waiting" and len(drawn.given["lines"]) > 5:
            lines = [line for line in drawn.given["lines"] if line.who.code in SOME]
            some = {"lines": lines, "together": [line for line in lines if line.together]}
        if drawn.file == "forecast" and len(drawn.given["weeks"]) > 3:
            some = {"weeks": drawn.given["weeks"][:3]}
        if some:
            walk.vary(name, f"{drawn.file}/{drawn.name}", instead=True, **some)


def _before_anything(walk: Walk, _ids: dict[str, Any]) -> None:
    house = walk.house
    with house.store.write(SYSTEM, house.clock.now - timedelta(days=1)) as unit:
        put_clinic(unit, replace(get_clinic(unit.session), name=f"Riverbend {ODD} Clinic"))
        hashed = house.desk.passwords.hash(PASSWORD)
        for login, roles in (("odd", ["counsellor", "pharmacy"]), ("both", ["counsellor", "reception"])):
            add_staff(
                unit, login=login, name=f"Nurse {ODD}", roles=roles, password_hash=hashed, registration=ODD
            )
        change_staff(unit, login="odd", active=False)
    walk.see("nothing yet", "/log-in?then=/today", NOBODY)
    for path in ("/waiting", "/my-patients", "/operations", "/today"):
        walk.see("nothing yet", path)
    for path in ("/to-reach", "/today/list", "/calls", "/not-followed"):
        walk.see("nothing yet", path, "reception")
    for path in ("/bottles", "/messages", "/outcomes", "/operations/paste"):
        walk.see("nothing yet", path)
    walk.see("not signed", "/protocol")
    walk.see("all", "/password")
    walk.see("all", "/api", "counsellor")
    given = walk.drawn[-1].given
    kept = {name: given["schemas"][name] for name in ("Arrival", "AlertOut", "WalkIn")}
    groups = {tag: found[:3] for tag, found in list(given["groups"].items())[:3]}
    walk.vary("cut short", "api/counsellor: all", instead=True, groups=groups, schemas=kept)
    walk.see("all", "/staff")
    for desk in ("counsellor", "reception", "surgeon", "pharmacy", "manager"):
        walk.see(f"of {desk}", f"/help/{desk}")
    walk.send("wrong password", "surgeon", "/protocol/sign", password="not that", read="yes", hash="0" * 64)
    house.sign_protocol()
    walk.see("signed", "/protocol")
    for name in [one.name for one in walk.drawn if one.file == "protocol"]:
        whole = walk.house.desk.protocol
        cut = {"rules": whole.rules[:2], "tapers": dict(sorted(whole.tapers.items())[:4])}
        cut["formulary"] = dict(sorted(whole.formulary.items())[:3])
        walk.vary(name.split(": ")[1], f"protocol/{name}", instead=True, protocol=replace(whole, **cut))
    walk.send("refused", NOBODY, "/log-in", login=ODD, password="wrong", then="/today", **{"kept.why": ODD})
    walk.send("away too long", NOBODY, "/operations/paste", text=ODD)
    walk.send("kept", NOBODY, "/log-in", login="surgeon", password=PASSWORD, then="/today", **{"kept.a": ODD})
    walk.send("wrong", "manager", "/password", old="not that", new="short")
    given = {"login": "new one", "name": f"N {ODD}", "registration": ODD, "password": "short"}
    walk.send("refused", "manager", "/staff", roles=["surgeon", "manager"], **given)
    walk.send("changed meanwhile", "manager", "/staff/odd", roles="surgeon", active="yes", seen="old")


def _records(walk: Walk, ids: dict[str, Any]) -> None:
    listed = [("C-0003", f"Amina {ODD} Yusuf", "left"), ("X-8", "Grace Hall", "left"), ("X-9", ODD, "right")]
    walk.say("counsellor", "POST /operations", on=day(0), lines=[_listed(*one) for one in listed])
    walk.see("listed", "/operations")
    walk.see("listed", f"/operations/new?code=X-9&name={quote(ODD)}&on={day(0)}")
    typed = {
        "patient.code": "X-9",
        "patient.name": ODD,
        "patient.birth_year": "19x5",
        "operations.0.eye": "left",
    }
    typed |= {"patient.telephones.0.number": "12", "operations.0.surgeon": ODD, "patient.language": "xx"}
    typed |= {"operations.0.date": day(0), "operations.0.chamber": ODD, "operations.0.free_text": ODD}
    twice = {"operations.0.eye_drawn": ["left", "right"], "operations.0.eye": ["middle", "left"]}
    twice |= {"patient.name": [ODD, "second"], "operations.0.procedure": ODD}
    walk.send("refused", "counsellor", "/operations/new", **typed | twice)
    walk.send("a line more", "counsellor", "/operations/new", add="patient.telephones", **typed)
    walk.send("not complete", "counsellor", "/operations/preview", **typed)
    walk.send("nothing typed", "counsellor", "/operations/preview", **{"patient.code": ""})
    walk.send("no record", "counsellor", "/operations/paste", text=f"{{ {ODD}")
    other = flat.flatten(RECORD, routine("X-8", "Grace Hall"))
    walk.send("the other eye than listed", "counsellor", "/operations/preview", **other)
    people = {
        "amina": case("amina", name=f"Amina {ODD} Yusuf", allergy_text=f"sulphur {ODD}"),
        "tom": case("tom", name=f"Tom {ODD} Ashworth"),
        "peter": case("peter"),
        "lakshmi": case("lakshmi"),
        "ibrahim": case("ibrahim"),
        "grace": case("grace"),
        "joao": case("joao"),
        "fatuma": case("fatuma"),
        "li": case("li"),
        "devika": case("devika"),
        "wanjiru": case("wanjiru", language="en"),
        "maya": routine("C-0021", f"Maya {ODD}", surgeon="Dr Sen"),
        "nils": routine("C-0022", "Nils Berg", surgeon="Dr Sen"),
        "olga": routine("C-0023", "Olga Lind"),
        "pia": routine("C-0024", "Pia Storm"),
        "rosa": routine("C-0025", "Rosa Blum"),
        "sami": routine("C-0026", f"Sami {ODD} Aho"),
        "ulla": _eye(routine("C-0027", f"Ulla {ODD}"), uveitis=QUIET),
        "gil": _eye(routine("C-0028", "Gil Roth"), glaucoma=True, steroid_responder=True),
    }
    for name, record in people.items():
        shown = flat.flatten(RECORD, record)
        if name in ("amina", "grace", "li", "peter", "maya"):
            walk.send(f"of {name}", "counsellor", "/operations/preview", **shown)
        ids[name] = walk.say("surgeon", "POST /records", record=record)["plan"]
        ids[f"code {name}"] = record["patient"]["code"]
    walk.send(
        "seen so far", "counsellor", "/operations/new", look="yes", **flat.flatten(RECORD, people["maya"])
    )


def _listed(code: str, name: str, eye: str) -> dict[str, str]:
    return {"code": code, "name": name, "eye": eye}


def _day_of_surgery(walk: Walk, ids: dict[str, Any]) -> None:
    walk.see("entered", "/operations")
    walk.see("another day", f"/operations?on={day(3)}")
    walk.send("no eye", "counsellor", "/operations/list", on=day(0), lines=f"X-9, {ODD}")
    walk.send("lines out", "counsellor", "/operations/list", on=day(0), lines="X-10, Somebody Else, left")
    walk.see("to sign", "/waiting")
    walk.send("wrong password", "surgeon", "/waiting/sign", plan=[str(ids["maya"])], password="not that")
    walk.send(
        "some failed", "surgeon", "/waiting/sign", plan=[str(ids["li"]), str(ids["rosa"])], password=PASSWORD
    )
    walk.see("signed", "/waiting?signed=2")
    for name in ("amina", "peter", "lakshmi", "grace", "li", "maya"):
        whom = ("counsellor", "surgeon") if name in ("amina", "maya") else ("surgeon",)
        walk.see(name, f"/plans/{ids[name]}", *whom, whys=name == "amina")
        if name in ("amina", "li", "lakshmi"):
            only = ("reception",) if name != "amina" else ()
            walk.see(f"{name}, day of surgery", f"/patients/{ids[f'code {name}']}", *only)
    for name in ("maya", "nils", "olga", "pia", "wanjiru", "sami"):
        walk.say("surgeon", f"POST /plans/{ids[name]}/sign", password=PASSWORD)
    walk.see("maya, signed", f"/plans/{ids['maya']}")
    walk.see("amina", f"/patients/{ids['code amina']}/record", "surgeon")
    walk.see("fatuma, decided", f"/patients/{ids['code fatuma']}/record", "counsellor")
    walk.see("day of surgery", "/today", "reception")


def _sheets(walk: Walk, ids: dict[str, Any]) -> None:
    """Printed, explained, handed over."""
    for name, asked in (("maya", {"twin": "ar", "pictures": True}), ("nils", {}), ("olga", {}), ("pia", {})):
        sheet = walk.say("counsellor", f"POST /plans/{ids[name]}/sheets", printed=0, **asked)
        ids[f"sheet {name}"] = sheet["id"]
        if name in ("maya", "nils"):
            walk.see(f"{name}, printed", f"/sheets/{sheet['id']}")
    walk.say("counsellor", f"POST /sheets/{ids['sheet maya']}/taught", shown=[0, 1])
    walk.send("to nobody", "counsellor", f"/sheets/{ids['sheet maya']}/handed-over", to="", how="paper")
    for name, to, how in (
        ("maya", ODD, "telephone"),
        ("nils", "herself", "paper"),
        ("olga", "a son", "paper"),
    ):
        walk.say("counsellor", f"POST /sheets/{ids[f'sheet {name}']}/handed-over", to=to, how=how)
    walk.see("handed over", f"/sheets/{ids['sheet maya']}", "counsellor")
    walk.see("with its sheet", f"/plans/{ids['maya']}")
    walk.see("before printing", f"/plans/{ids['maya']}/preview", "counsellor")
    walk.see("of the first day", "/bottles")
    walk.send("no number", "pharmacy", "/bottles", **{"stock.dexamethasone-0-1": ODD})
    code = ids["code maya"]
    walk.see("with a sheet", f"/patients/{code}", "reception")
    walk.send(
        "no answer", "counsellor", f"/patients/{code}/messages", answer="yes", channel="mail", address=ODD
    )
    agreed = {"consent": True, "channel": "gateway", "address": "+44 20 7946 0123", "reader": "carer"}
    walk.say("counsellor", f"PUT /patients/{code}/messages", **agreed)
    walk.say("counsellor", f"PUT /patients/{ids['code nils']}/messages", consent=False)
    walk.say("counsellor", f"PUT /patients/{ids['code olga']}/messages", consent=True, channel="paper")
    walk.see("agreed", f"/patients/{code}", "counsellor")
    walk.see("no messages", f"/patients/{ids['code nils']}", "reception")
    walk.say("counsellor", f"DELETE /patients/{code}/messages")
    walk.see("stopped", f"/patients/{code}", "reception")


def _first_days(walk: Walk, ids: dict[str, Any]) -> None:
    """Who came, who did not, who came without a visit."""
    walk.house.clock.on(1, 6.0)
    walk.see("first day", "/today", "reception")
    walk.see("first day", "/today/list", "reception")
    walk.see("first day", "/bottles", "pharmacy")
    for name in ("maya", "nils", "olga", "pia"):
        ids[f"visits {name}"] = [
            v["id"] for v in walk.say("counsellor", f"GET /patients/{ids[f'code {name}']}")["visits"]
        ]
    maya, nils, olga = (ids[f"visits {name}"][0] for name in ("maya", "nils", "olga"))
    walk.see("due", f"/patients/{ids['code maya']}", "reception")
    walk.see("first look", f"/trips/{maya}/move", "reception")
    walk.see("week", f"/trips/{ids['visits maya'][1]}/move", "reception")
    walk.send("no day", "reception", f"/trips/{ids['visits maya'][1]}/move", day=day(60), hour=ODD)
    walk.say("reception", f"POST /visits/{maya}/arrived", nonce="a" * 20)
    walk.say("reception", f"POST /visits/{nils}/arrived", nonce="b" * 20)
    walk.see("here", f"/patients/{ids['code maya']}")
    walk.see("some here", "/today", "reception")
    walk.say("reception", f"POST /visits/{nils}/left")
    walk.see("left", f"/patients/{ids['code nils']}", "reception", "surgeon")
    walk.say("reception", f"POST /visits/{olga}/no-show")
    walk.see("did not come", f"/patients/{ids['code olga']}", "reception")
    walk.send(
        "no reason",
        "reception",
        f"/patients/{ids['code sami']}/walk-in",
        nonce="c" * 20,
        why="",
        **{"sign.0": "no"},
    )
    walk.say(
        "reception",
        f"POST /patients/{ids['code sami']}/walk-in",
        nonce="w" * 20,
        signs=["pain"],
        why=f"hurts {ODD}",
    )
    walk.see("in danger", f"/patients/{ids['code sami']}")
    walk.see("in danger", "/today")
    walk.see("in danger", "/my-patients")
    walk.see("in danger", f"/plans/{ids['sami']}", "surgeon")
    look = {
        "eye": "right",
        "date": day(1),
        "cells": "2+",
        "flare": "1+",
        "pressure": 18,
        "vision": f"6/12 {ODD}",
    }
    at = f"/patients/{ids['code maya']}/eyes/right"
    walk.see("nothing seen", at)
    walk.send("nothing entered", "surgeon", f"{at}/findings", seen="1")
    walk.send(
        "refused", "surgeon", f"{at}/findings", seen="1", **{"reviews.0.pressure": ODD, "reviews.0.note": ODD}
    )
    walk.say("surgeon", f"POST {at}/findings", seen=1, look=look | TOLD | {"note": ODD})
    walk.see("seen", at)
    walk.see("first day", f"{at}/looks/{day(1)}")
    walk.see("seen", f"/patients/{ids['code maya']}", "surgeon")
    walk.see("inflamed", "/my-patients")


def _second_week(walk: Walk, ids: dict[str, Any]) -> None:
    """Changes, calls, those who are not followed any more."""
    walk.house.clock.on(4, 6.0)
    walk.see("tried by nobody", "/to-reach", "reception")
    walk.see("fourth day", "/calls", "reception")
    walk.see("fourth day", "/my-patients")
    code = ids["code olga"]
    walk.see("first call", f"/patients/{code}/call", "reception")
    walk.send("nothing said", "reception", f"/patients/{code}/call", note=ODD, way="call")
    walk.say(
        "reception",
        f"POST /patients/{code}/attempts",
        nonce="d" * 20,
        way="call",
        outcome="no answer",
        note=ODD,
    )
    walk.see("tried", f"/patients/{code}/call", "surgeon")
    walk.see("tried", "/to-reach", "reception")
    walk.see("tried", f"/patients/{code}", "counsellor")
    at = f"/plans/{ids['maya']}/steps"
    walk.see("as it stands", f"{at}?course=right:steroid")
    change = {
        "course": "right:steroid",
        "starts": day(5),
        "reason": ODD,
        "count": ["6", "4"],
        "days": ["3", "7"],
    }
    walk.send("effect", "surgeon", at, show="yes", **change)
    walk.send(
        "refused", "surgeon", at, store="yes", **(change | {"reason": "", "days": [ODD, "7"], "starts": ODD})
    )
    steps = [{"times_a_day": 6, "days": 7}]
    drafted = walk.say(
        "surgeon", f"POST {at}", course="right:steroid", starts=day(5), steps=steps, reason=f"worse {ODD}"
    )
    new = ids["maya again"] = drafted["about"]["id"]
    walk.see("changed", f"/plans/{new}", "surgeon")
    walk.see("before the change", f"/plans/{ids['maya']}", "surgeon")
    walk.see("a draft waits", f"/patients/{ids['code maya']}", "counsellor")
    walk.see("a draft waits", f"/patients/{ids['code maya']}/eyes/right")
    walk.see("changed", f"/plans/{ids['maya']}/against/{new}", "surgeon")
    walk.see("the same", f"/plans/{new}/against/{new}", "counsellor")
    walk.see("changed", "/waiting")
    walk.send("wrong password", "surgeon", f"/plans/{new}/sign", password="not that", reason=ODD)
    walk.send("effect, meanwhile", "surgeon", at, show="yes", **change)
    walk.say("surgeon", f"POST /plans/{new}/sign", password=PASSWORD, reason=ODD)
    walk.see("replaced", f"/plans/{ids['maya']}", "surgeon")
    walk.see("replaced", f"/sheets/{ids['sheet maya']}", "counsellor")
    walk.say("counsellor", f"POST /plans/{new}/sheets", printed=0)
    walk.see("another instead", f"/sheets/{ids['sheet maya']}")
    walk.see("found", f"/found/{ids['sheet maya']}", "reception")
    walk.see("two sheets", f"/patients/{ids['code maya']}", "reception")
    for name, word in (("pia", "moved away"), ("rosa", "died")):
        walk.send(
            f"nobody said so, {word}",
            "reception",
            f"/patients/{ids[f'code {name}']}/following",
            standing=word,
            reason="",
        )
        walk.say("reception", f"POST /patients/{ids[f'code {name}']}/following", standing=word, reason=ODD)
        walk.see(word, f"/patients/{ids[f'code {name}']}", "reception")
    for name, word in (("sami", "refused"),):
        walk.say("surgeon", f"POST /patients/{ids[f'code {name}']}/standing", standing=word, reason=ODD)
        walk.see(word, f"/patients/{ids[f'code {name}']}", "reception")
    walk.see("three", "/not-followed")
    walk.see("some gone", "/to-reach", "reception")


def _later_on(walk: Walk, ids: dict[str, Any]) -> None:
    """Looks that lead to proposals; plans that ended; the clinic's own pages."""
    walk.house.clock.on(14, 6.0)
    walk.send("nobody", "reception", "/find", text=ODD)
    walk.send("not ours", "reception", "/find", text="7K3M-9QX2-PDV")
    walk.send("no code", "reception", "/find", text="7K3M-9QX2-PDX")
    walk.send("several", "reception", "/find", text="C-00")
    walk.see("a closed door", "/plans/99999")
    walk.lost("no page", "reception", "/nowhere")
    walk.lost("not logged in", NOBODY, "/nowhere")
    walk.see("fortnight", "/forecast")
    walk.see("fortnight", "/outcomes")
    walk.see("usual", "/calendar")
    walk.see("fortnight", "/today")
    walk.see("fortnight", "/to-reach", "reception")
    for name, look in (
        ("gil", {"cells": "0", "flare": "0", "pressure": 31}),
        ("ulla", {"cells": "2+", "flare": "2+", "pressure": 29}),
        ("nils", {"cells": "2+"}),
        ("olga", {"cells": "1+", "hypopyon": "yes", "pain": "yes"}),
    ):
        at, seen = f"/patients/{ids[f'code {name}']}/eyes/right", TOLD if name in ("gil", "ulla") else {}
        walk.say(
            "surgeon", f"POST {at}/findings", seen=1, look={"eye": "right", "date": day(14)} | seen | look
        )
        walk.see(name, f"{at}/looks/{day(14)}", "surgeon", *(["counsellor"] if name == "gil" else []))
        walk.see(f"{name}, a fortnight", at, "surgeon")
    walk.see("fortnight", "/my-patients")
    walk.see("senior", f"/patients/{ids['code olga']}", "reception")
    walk.see("senior", "/today", "reception")
    walk.see("pressure", f"/plans/{ids['gil']}", "surgeon")
    at = f"/patients/{ids['code ulla']}/eyes/right/looks/{day(14)}"
    walk.send("nothing taken", "surgeon", at, store="yes", reason=[ODD, "second"], seen="1")
    walk.say("surgeon", f"POST /plans/{ids['nils']}/end", reason=ODD)
    _refused(walk, ids)
    walk.see("ended", f"/plans/{ids['nils']}", "surgeon")
    walk.see("ended", f"/patients/{ids['code nils']}", "reception")
    walk.see("ended", f"/patients/{ids['code nils']}/eyes/right", "surgeon")
    walk.see("ended", f"/sheets/{ids['sheet nils']}", "counsellor")
    walk.see("found, ended", f"/found/{ids['sheet nils']}", "reception")
    _calendar(walk, ids)


def _refused(walk: Walk, ids: dict[str, Any]) -> None:
    """Forms that come back with what was typed."""
    maya, sami = f"/patients/{ids['code maya']}", f"/patients/{ids['code sami']}"
    trip = f"/trips/{ids['visits maya'][1]}"
    for name, who, path, sent in (
        ("no word", "surgeon", f"{sami}/alerts/1/close", {"word": ""}),
        ("nothing measured", "counsellor", f"{maya}/leaving", {"key": "x", "mmhg": ODD, "why": ODD}),
        ("nothing to take back", "reception", f"{maya}/take-back", {"entry": "999999"}),
        ("wrong standing", "surgeon", f"{maya}/standing", {"standing": ODD, "reason": ODD}),
        ("no record", "counsellor", f"{maya}/record", {"seen": "1", "patient.name": ODD}),
        ("no such need", "surgeon", f"/plans/{ids['gil']}/decisions", {"seen": "2", "need": "x", "why": ODD}),
        ("none decided", "surgeon", f"/plans/{ids['gil']}/decisions/take-back", {"seen": "2", "need": "x"}),
        ("no reason", "surgeon", f"/plans/{ids['olga']}/end", {"reason": ""}),
        ("no such change", "surgeon", f"/plans/{ids['gil']}/take-back", {"change": "9"}),
        ("no form of its own", "reception", f"{trip}/arrived", {"nonce": "short"}),
        ("no such hour", "reception", f"{trip}/book", {"hour": ODD, "seen": day(1)}),
        ("not here", "reception", f"{trip}/left", {}),
        ("nothing looked at", "surgeon", f"{trip}/seen", {}),
        ("no such message", "manager", "/messages/9/again", {}),
    ):
        walk.send(name, who, path, **sent)


def _calendar(walk: Walk, _ids: dict[str, Any]) -> None:
    """Days that are closed though somebody comes, places that are too few."""
    form = {"open": ["monday", "tuesday"], "holidays": ODD, "extra_days": day(20), "half_dates": day(21)}
    form |= {"half_weekday": "tuesday", "first_look": "on call", "only_listed": "yes", "caps": "yes"}
    form |= {f"on_call_{name}": ODD for name in ("place", "opens", "closes")} | {"address": ODD}
    form |= {"service": ["review", ODD], "capacity": ["2", ODD], "days.0": ["monday"]}
    walk.send("refused", "manager", "/calendar", **form)
    walk.send("visits lose their day", "manager", "/calendar", seen=_seen(walk), open=["sunday"], holidays="")
    now = walk.say("manager", "GET /calendar")
    services = [{"name": "review", "capacity": 1, "weekdays": ["monday", "thursday"]}, {"name": "doctor"}]
    changed = now["calendar"] | {"services": services, "holidays": [day(42)]}
    walk.say("manager", "PUT /calendar", calendar=changed, seen=now["seen"])
    walk.see("visits without their day", "/calendar")
    walk.see("too few places", "/forecast")
    walk.see("days to move", "/to-reach", "reception")
    walk.see("days to move", "/calls", "reception")


def _seen(walk: Walk) -> str:
    return str(walk.say("manager", "GET /calendar")["seen"])
