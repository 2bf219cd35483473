"""A clinic of two sites a week after surgery: one patient at the first, three at the hill, staff at each."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sqlalchemy import text
from sqlmodel import select

from followup.records.house.staff import add_staff, bind_staff
from followup.records.people.messages import queue_message
from followup.records.store.sites import Site, put_site
from followup.records.tables import MessageRow, metadata
from followup.records.views import SYSTEM

ROLES = ("counsellor", "reception", "surgeon", "pharmacy", "manager")
PASSWORD = "a long enough password"
# Names and numbers of the hill that must never be read anywhere else.
THEIRS = ("Quillfeather", "N-1", "N-2", "N-3", "N-9", "7946 0177", "hill-desk")
TODAY = date(2027, 3, 8)
# What the program notes about itself whenever somebody asks anything.
_OWN = {"login_session", "heartbeat", "lease"}
# That somebody opened a patient is noted by looking; of the journal every other entry counts.
_LOOKED, _BUT_LOOKS = "opening", " WHERE action <> 'record opened'"


@dataclass
class TwoSites:
    """``asha`` has every role at the first site, ``bela`` at the hill, ``carol`` at both."""

    house: Any
    hill: int
    ids: dict[str, Any] = field(default_factory=dict)
    _known: dict[str, Any] = field(default_factory=dict)

    def browser(self, login: str) -> Any:
        """Somebody's browser; a new log-in where the clock was moved, as a session ends."""
        key = f"{login} {self.house.clock.now}"
        if key not in self._known:
            self._known[key] = self.house.enter(login)
        return self._known[key]

    def say(self, who: str, what: str, **sent: Any) -> Any:
        """The program interface, which must not refuse."""
        method, path = what.split()
        answer = self.browser(who).request(method, f"/api{path}", json=sent or None)
        assert answer.status_code < 300, f"{what}: {answer.text}"
        return answer.json() if answer.content else None

    def rows(self) -> str:
        """A hash over every row of the store but for what it notes of itself, and of who looks."""
        digest = hashlib.sha256()
        with self.house.store.read() as session:
            for name in sorted(set(metadata.tables) - _OWN - {_LOOKED}):
                kept = _BUT_LOOKS if name == "journal" else ""
                found = session.execute(text(f'SELECT * FROM "{name}"{kept}')).all()
                digest.update(repr((name, sorted(map(repr, found)))).encode())
        return digest.hexdigest()


def two_sites(house: Any) -> TwoSites:
    """Make it in an empty house."""
    house.sign_protocol()
    with house.store.write(SYSTEM, house.clock.now) as unit:
        site = put_site(unit, Site(0, "HILL", "Hill room", phone_day="+44 20 7946 0177"))
        hashed = house.desk.passwords.hash(PASSWORD)
        for login, name, bound in (
            ("asha", "Asha Main", 1),
            ("bela", "Bela Hillside", site.id),
            ("hill-desk", "Zed Quillfeather", site.id),
            ("carol", "Carol Both", None),
        ):
            add_staff(
                unit, login=login, name=name, roles=ROLES, password_hash=hashed, registration=f"R-{login}"
            )
            bind_staff(unit, login=login, site=bound)
        unit.log("sites made", "clinic")
    scene = TwoSites(house, site.id)
    _day_of_surgery(scene)
    house.clock.on(7)
    _a_week_later(scene)
    return scene


def _day_of_surgery(scene: TwoSites) -> None:
    for login, code, name in (
        ("asha", "M-1", "Wanjiru Ndegwa"),
        ("bela", "N-1", "Xanthe Quillfeather"),
        ("bela", "N-2", "Zebedee Quillfeather"),
    ):
        scene.say(login, "POST /operations", on="2027-03-01", lines=[_line(code, name)])
        plan = scene.say(login, "POST /records", record=record_of(code, name, "2027-03-01"))["plan"]
        scene.say(login, f"POST /plans/{plan}/sign", password=PASSWORD)
        scene.ids[f"plan {code}"] = plan
        sheet = scene.say(login, f"POST /plans/{plan}/sheets", printed=0)
        scene.ids[f"sheet {code}"], scene.ids[f"typed {code}"] = sheet["id"], sheet["code"]
        visits = scene.say(login, f"GET /patients/{code}")["visits"]
        scene.ids[f"visits {code}"] = [one["id"] for one in visits]


def _a_week_later(scene: TwoSites) -> None:
    ids = scene.ids
    lines = [_line("N-3", "Ottoline Quillfeather"), _line("N-9", "Listed Quillfeather")]
    scene.say("bela", "POST /operations", on=TODAY.isoformat(), lines=lines)
    third = scene.say("bela", "POST /records", record=record_of("N-3", "Ottoline Quillfeather", TODAY))
    steps = {"steps": [{"times_a_day": 6, "days": 7}], "starts": "2027-03-09", "reason": "it is inflamed"}
    drafted = scene.say("bela", f"POST /plans/{third['plan']}/steps", course="right:steroid", **steps)
    ids["plan N-3"] = drafted["about"]["id"]
    told = {"nonce": "w" * 20, "signs": ["pain"], "why": "it hurts"}
    ids["walk-in"] = scene.say("bela", "POST /patients/N-2/walk-in", **told)["id"]
    ids["noted N-2"] = scene.say("bela", "GET /patients/N-2")["noted"][0]["entry"]
    ids["alert"] = scene.say("bela", "GET /alerts")[0]["id"]
    signs = ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin")
    seen = {"cells": "2+", "flare": "2+", "pressure": 18, "vision": "6/12"} | dict.fromkeys(signs, "no")
    look = {"eye": "right", "date": TODAY.isoformat(), **seen}
    leads = scene.say("bela", "POST /patients/N-1/eyes/right/findings", seen=1, look=look)
    taken = next(p for p in leads["outcome"]["proposals"] if any("steps" in a for a in p["adjustments"]))
    ids["record"] = scene.say("bela", "GET /patients/N-1/record")["record"]
    ids["take"], ids["seen"] = taken["id"], leads["plan_number"]
    scene.say("bela", "POST /patients/N-3/following", standing="moved away", reason="to the coast")
    with scene.house.store.write(SYSTEM, scene.house.clock.now) as unit:
        days: dict[str, Any] = {"day": TODAY, "last_useful": TODAY, "next_try": unit.now}
        words = {"language": "en", "text": "Quillfeather", "segments": 1, "key": "k"}
        whom = {"reader": "patient", "channel": "mail", "address": "x@example.org"}
        number = _patient(unit, "N-1")
        queue_message(unit, patient_code="N-1", patient_id=number, kind="reminder", **days, **words, **whom)
        row = unit.session.exec(select(MessageRow)).one()
        row.state, ids["message"] = "failed", row.id
        unit.session.add(row)
    new = {"login": "hill-new", "name": "Yan Quillfeather", "roles": ["reception", "counsellor"]}
    scene.say("bela", "POST /staff", **new, new_password=PASSWORD, password=PASSWORD)
    ids["asked"] = scene.say("bela", "GET /roles")[0]["id"]
    ids["session"] = scene.say("bela", "GET /sessions")[0]["name"]
    for login in ("asha", "bela", "carol"):
        scene.browser(login)


def _patient(unit: Any, code: str) -> int:
    found = unit.session.execute(text("SELECT id FROM patient WHERE code = :code"), {"code": code})
    return int(found.scalar_one())


def _line(code: str, name: str) -> dict[str, str]:
    return {"code": code, "name": name, "eye": "right"}


def record_of(code: str, name: str, on: object) -> dict[str, Any]:
    """An uneventful operation, told so far that nothing is asked."""
    who = {"code": code, "name": name, "birth_year": 1955, "language": "en", "drops_by": {"who": "relative"}}
    operation = {"eye": "right", "eye_drawn": "right", "date": str(on), "procedure": "phacoemulsification"}
    operation |= {"cut_mm": 2.4, "stitches": 0, "chamber": "normal", "viscoelastic": {"removed": "all"}}
    telephones = [{"number": "+44 20 7946 0123"}]
    return {"patient": who | {"telephones": telephones}, "operations": [operation | {"lens": "bag"}]}
