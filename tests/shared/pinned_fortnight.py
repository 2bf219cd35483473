"""The pinned clinic a fortnight on: proposals, plans that ended, forms that come back, closed days."""

from __future__ import annotations

from typing import Any

from pinned_people import ODD, TOLD, day
from walked import NOBODY, Walk


def fortnight(walk: Walk, ids: dict[str, Any]) -> None:
    """Looks that lead to proposals; plans that ended; the clinic's own pages."""
    walk.house.clock.on(14, 6.0)
    walk.send("nobody", "reception", "/find", text=ODD)
    walk.send("not ours", "reception", "/find", text="7K3M-9QX2-PDV")
    walk.send("no code", "reception", "/find", text="7K3M-9QX2-PDX")
    walk.send("several", "reception", "/find", text="C-00")
    walk.see("a closed door", "/plans/99999", "surgeon")
    walk.lost("no page", "reception", "/nowhere")
    walk.lost("not logged in", NOBODY, "/nowhere")
    walk.see("fortnight", "/forecast")
    walk.see("fortnight", "/outcomes")
    walk.see("fortnight", "/outcomes/audit")
    walk.see("usual", "/calendar")
    walk.see("fortnight", "/today", "reception")
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
