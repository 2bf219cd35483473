"""The pinned clinic on the day of surgery: plans signed, sheets printed, explained, handed over."""

from __future__ import annotations

from typing import Any

from pinned_people import ODD, PASSWORD, day
from walked import Walk


def day_of_surgery(walk: Walk, ids: dict[str, Any]) -> None:
    walk.see("entered", "/operations")
    walk.see("another day", f"/operations?on={day(3)}", "counsellor")
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


def sheets(walk: Walk, ids: dict[str, Any]) -> None:
    """Printed, explained, handed over."""
    for name, asked in (("maya", {"twin": "ar", "pictures": True}), ("nils", {}), ("olga", {}), ("pia", {})):
        sheet = walk.say("counsellor", f"POST /plans/{ids[name]}/sheets", printed=0, **asked)
        ids[f"sheet {name}"] = sheet["id"]
        if name in ("maya", "nils"):
            whom = () if name == "maya" else ("counsellor",)
            walk.see(f"{name}, printed", f"/sheets/{sheet['id']}", *whom)
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
