"""The pinned clinic on the first day and on the fourth."""

from __future__ import annotations

from typing import Any

from pinned_people import ODD, PASSWORD, TOLD, day
from walked import Walk


def first_days(walk: Walk, ids: dict[str, Any]) -> None:
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
    walk.see("nothing seen", at, "surgeon")
    walk.send("nothing entered", "surgeon", f"{at}/findings", seen="1")
    walk.send(
        "refused", "surgeon", f"{at}/findings", seen="1", **{"reviews.0.pressure": ODD, "reviews.0.note": ODD}
    )
    walk.say("surgeon", f"POST {at}/findings", seen=1, look=look | TOLD | {"note": ODD})
    walk.see("seen", at)
    walk.see("first day", f"{at}/looks/{day(1)}")
    walk.see("seen", f"/patients/{ids['code maya']}", "surgeon")
    walk.see("inflamed", "/my-patients")


def fourth_day(walk: Walk, ids: dict[str, Any]) -> None:
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
    walk.see("a draft waits", f"/patients/{ids['code maya']}/eyes/right", "surgeon")
    walk.see("changed", f"/plans/{ids['maya']}/against/{new}", "surgeon")
    walk.see("the same", f"/plans/{new}/against/{new}", "counsellor")
    walk.see("changed", "/waiting")
    walk.send("wrong password", "surgeon", f"/plans/{new}/sign", password="not that", reason=ODD)
    walk.send("effect, meanwhile", "surgeon", at, show="yes", **change)
    walk.say("surgeon", f"POST /plans/{new}/sign", password=PASSWORD, reason=ODD)
    walk.see("replaced", f"/plans/{ids['maya']}", "surgeon")
    walk.see("replaced", f"/sheets/{ids['sheet maya']}", "counsellor")
    walk.say("counsellor", f"POST /plans/{new}/sheets", printed=0)
    walk.see("another instead", f"/sheets/{ids['sheet maya']}", "counsellor")
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
