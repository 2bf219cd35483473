"""The pinned clinic before anybody was operated on: nothing yet, the staff, the records."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from pinned_people import ODD, PASSWORD, QUIET, case, day, eye, routine
from walked import NOBODY, Walk

from followup.care.fields import values as flat
from followup.care.fields.shape import RECORD
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.house.staff import add_staff, change_staff
from followup.records.views import SYSTEM


def before_anything(walk: Walk, _ids: dict[str, Any]) -> None:
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
    for path in ("/waiting", "/my-patients"):
        walk.see("nothing yet", path)
    for path in ("/today", "/to-reach", "/today/list", "/calls", "/not-followed"):
        walk.see("nothing yet", path, "reception")
    for path in ("/operations", "/operations/paste"):
        walk.see("nothing yet", path, "counsellor")
    for path in ("/bottles", "/messages", "/outcomes"):
        walk.see("nothing yet", path, "manager")
    walk.see("not signed", "/protocol")
    walk.see("all", "/password", "reception")
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
    walk.see("signed", "/protocol", "surgeon")
    for name in [one.name for one in walk.drawn if one.file == "protocol"]:
        whole = walk.house.desk.protocol
        cut = {"rules": whole.rules[:2], "tapers": dict(sorted(whole.tapers.items())[:4])}
        cut["formulary"] = dict(sorted(whole.formulary.items())[:3])
        walk.vary(name.split(": ")[1], f"protocol/{name}", instead=True, protocol=replace(whole, **cut))
    walk.send("refused", NOBODY, "/log-in", login=ODD, password="wrong", then="/today", **{"kept.why": ODD})
    walk.send("away too long", NOBODY, "/operations/paste", text=ODD)
    walk.send("kept", NOBODY, "/log-in", login="surgeon", password=PASSWORD, then="/today", **{"kept.a": ODD})
    walk.send("wrong", "manager", "/password", old="not that", new="short")
    given = {
        "login": "new one",
        "name": f"N {ODD}",
        "registration": ODD,
        "new_password": "short",
        "password": PASSWORD,
    }
    walk.send("refused", "manager", "/staff", roles=["surgeon", "manager"], **given)
    walk.send(
        "changed meanwhile",
        "manager",
        "/staff/odd",
        roles="surgeon",
        active="yes",
        seen="old",
        password=PASSWORD,
    )


def records(walk: Walk, ids: dict[str, Any]) -> None:
    listed = [("C-0003", f"Amina {ODD} Yusuf", "left"), ("X-8", "Grace Hall", "left"), ("X-9", ODD, "right")]
    walk.say("counsellor", "POST /operations", on=day(0), lines=[_listed(*one) for one in listed])
    walk.see("listed", "/operations", "counsellor")
    walk.see("listed", f"/operations/new?code=X-9&on={day(0)}")
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
        "ulla": eye(routine("C-0027", f"Ulla {ODD}"), uveitis=QUIET),
        "gil": eye(routine("C-0028", "Gil Roth"), glaucoma=True, steroid_responder=True),
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
