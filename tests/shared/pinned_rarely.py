"""States of pages that a few invented people never show: the page of the walk, given something else."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

from pinned_people import ODD
from walked import Walk

from followup.clinical.adjustments import CourseAdded, CourseEdit, NeedAdded
from followup.clinical.careplan import Decided, Impossible, Step
from followup.clinical.day_plan import Bottle, DayPhase, Dose
from followup.clinical.review.proposal import Offer, Refused
from followup.desks.page.parts import part
from followup.desks.surgeon.my_patients import Also

ODDER = [ODD, "second"]
DAY = date(2027, 3, 15)


def _in(days: int) -> date:
    return DAY + timedelta(days=days)


def rarely(walk: Walk, _ids: dict[str, Any]) -> None:
    for vary in (_look, _plan, _my_patients, _lists):
        vary(walk)


ADDED = CourseAdded(
    eye="right", medicine="dorzolamide-2", starts=DAY, steps=((3, 14),), reason=f"high {ODD}", by=f"Dr {ODD}"
)
STEPS = CourseEdit(course="right:steroid", starts=DAY, steps=((4, 7), (2, 7)), reason=ODD, by="Dr Sen")
LOOKED = NeedAdded(
    eye="right", need="pressure", earliest=_in(1), target=_in(2), latest=_in(3), reason=ODD, by="Dr Sen"
)


def _look(walk: Walk) -> None:
    given = walk.page("look/surgeon: gil").given
    outcome = given["outcome"]
    drops = Offer(
        kind="a", medicine="dorzolamide-2", count=3, name="a", last_look=(1, 2, 3), cautions=("Watch it.",)
    )
    tablets = Offer(
        kind="b", medicine="acetazolamide-250", count=1, name="b", last_look=(1, 2, 3), by_mouth=True
    )
    one, other = outcome.proposals[0], outcome.proposals[-1]
    whole = one.model_copy(
        update={
            "adjustments": (STEPS, ADDED, LOOKED),
            "offers": (drops, tablets),
            "not_offered": (Refused(kind="beta blocker", why=f"asthma {ODD}"),),
            "alternative_to": (other.id,),
            "opposes": (other.id,),
            "today": True,
            "treats": True,
            "if_signed": "It is changed.",
            "cautions": ("Watch this.", "And that."),
        }
    )
    bare = other.model_copy(
        update={"adjustments": (), "offers": (), "treats": True, "opposes": (), "alternative_to": ()}
    )
    seen = outcome.model_copy(update={"proposals": (whole, bare)})
    asked = walk.page("plan/surgeon: amina").given["asked"][:2]
    typed = {"take": [one.id], "offer": ["dorzolamide-2"], "other": ["acetazolamide-250"], "reason": ODDER}
    typed |= dict.fromkeys(("offer_days", "other_count", "other_days"), ODDER)
    typed |= {f"steps.{one.id}.0": ODDER}
    effect = (f"Something changes {ODD}.", "And more.")
    said = {"outcome": seen, "typed": typed, "effect": effect, "asked": asked, "error": f"Refused {ODD}"}
    since = walk.page("plan/surgeon: before the change").given["since"]
    walk.vary("everything at once", "look/surgeon: gil", since=since, **said)
    for place in ("reason", "medicine", "days", "count", "take", "steps"):
        refused = {"error": None, "wrong": place, "wrong_line": f"Refused {ODD}"}
        walk.vary(f"everything at once, {place} refused", "look/surgeon: gil", since=None, **said | refused)
    walk.vary("everything at once, to read", "look/counsellor: gil", **said)
    walk.vary(
        "an older look",
        "look/surgeon: gil",
        look=given["look"].model_copy(update={"date": _in(-3)}),
        newest=None,
    )
    flag = walk.page("look/surgeon: olga").given["outcome"].senior
    notes = {
        "senior": flag,
        "now": ("Do this.", "Then that."),
        "notes": flag,
        "proposals": (),
        "waits": "It waits.",
    }
    missing = given["missing"]
    walk.vary(
        "danger and gaps",
        "look/surgeon: gil",
        outcome=outcome.model_copy(update=notes),
        missing=missing,
    )
    calm = {"senior": (), "now": (), "notes": (), "proposals": (), "missing": (), "response": "It is better."}
    nothing = outcome.model_copy(update=calm)
    walk.vary("nothing to change", "look/surgeon: gil", outcome=nothing, missing=(), calm=True)
    walk.vary(
        "danger alone", "look/surgeon: gil", outcome=nothing.model_copy(update={"senior": flag}), missing=()
    )
    walk.vary("gaps alone", "look/surgeon: gil", outcome=nothing, missing=missing, calm=True)
    walk.vary("no proposals for this", "look/surgeon: gil", outcome=None, refused=f"Refused {ODD}")


def _plan(walk: Walk) -> None:
    given = walk.page("plan/surgeon: pressure").given
    view, plan = given["view"], given["plan"]
    lacks: dict[str, Any] = {"text": "No day is offered.", "earliest": _in(1), "latest": _in(3)}
    impossible = (
        Impossible(need="a", before=_in(-1), after=_in(5), kind="pressure", eye="right", **lacks),
        Impossible(need="b", before=None, after=None, text="No day at all."),
        Impossible(
            need="c", before=None, after=_in(9), kind="pressure", text="Later alone.", earliest=_in(2)
        ),
    )
    due: dict[str, Any] = {"earliest": _in(1), "latest": _in(3)}
    decided = (
        Decided(
            need="a", kind="pressure", eye="right", day=_in(5), place=ODD, why=ODD, by=f"Dr {ODD}", **due
        ),
        Decided(
            need="b",
            kind="",
            eye=None,
            day=None,
            place=None,
            why="no day",
            by=None,
            earliest=None,
            latest=_in(3),
        ),
        Decided(need="c", kind="pressure", eye=None, day=_in(5), place=None, why="later", by=None, **due),
    )
    first = plan.courses[0]
    course = first.model_copy(
        update={
            "as_needed": True,
            "ordered_by": ODD,
            "above_label": f"Six a day {ODD}",
            "steps": (
                Step(start=DAY, days=7, count=2, mg=20),
                Step(start=_in(7), days=7, count=1, mg=10, tablets=2),
            ),
        }
    )
    units = Bottle(course=first.key, number=1, opened=DAY, discard=_in(9), drops=0, units=30, handed_over=DAY)
    later = units.model_copy(update={"number": 2, "handed_over_trip": 1})
    by_mouth = course.model_copy(update={"key": "mouth:x", "eye": None, "goes_on": True})
    tablets = later.model_copy(update={"course": "mouth:x"})
    hours = tuple(f"{hour:02}:00" for hour in range(6, 22))
    often = DayPhase(
        start=DAY,
        end=_in(6),
        times=hours,
        doses=(
            Dose(course=first.key, count=16, times=hours),
            Dose(course=plan.courses[1].key, count=8, times=hours[::2]),
            Dose(course="mouth:x", count=1, times=hours[:1]),
        ),
    )
    seldom = Dose(course="mouth:x", count=2, times=("06:00", "22:00"))
    later_on = DayPhase(start=_in(7), end=_in(13), times=seldom.times, doses=(seldom,))
    trips = (
        plan.trips[0].model_copy(
            update={"place": ODD, "hours": ("09:00", "11:00"), "overbooked": ("review", "field")}
        ),
        plan.trips[1].model_copy(update={"place": "Elsewhere", "status": "booked", "serves": ()}),
        plan.trips[2].model_copy(update={"status": "noshow"}),
        *plan.trips[3:],
    )
    body = plan.model_copy(
        update={
            "impossible": impossible,
            "decided": decided,
            "notices": ("Something is noted.",),
            "courses": (course, by_mouth, *plan.courses[1:]),
            "supply": (units, later, tablets, *plan.supply),
            "rounds": (often, later_on),
            "trips": trips,
        }
    )
    gone = STEPS.model_copy(update={"course": "right:none"})
    version = replace(given["version"], body=body, edits=(LOOKED, ADDED, STEPS, gone))
    said = {"view": replace(view, version=version), "plan": body, "version": version, "newest": version}
    said["table"] = replace(given["table"], plan=body)
    away = {"need": plan.needs[0].key, "day": _in(5).isoformat(), "why": ODD, "place": ODD}
    for name, decision in (
        ("before", {"need": "a", "day": _in(-1).isoformat(), "why": ODD, "place": ""}),
        ("after", {"need": "a", "day": _in(5).isoformat(), "why": ODD, "place": ""}),
        ("never", {"need": "b", "day": "none", "why": ODD, "place": ""}),
        ("elsewhere", away),
    ):
        walk.vary(f"everything, {name}", "plan/surgeon: pressure", decision=decision, **said)
    walk.vary("everything, to read", "plan/counsellor: amina", **said)
    held = replace(version, status="active")
    for status, more in (
        ("active", {}),
        ("completed", {}),
        ("draft", {"stale": True}),
        ("draft", {"signature": None}),
    ):
        held = replace(version, status=status)
        body_of = {"view": replace(view, version=held), "version": held, "newest": held}
        walk.vary(
            f"everything, {status} {' '.join(more)}", "plan/surgeon: pressure", **(said | body_of | more)
        )
    walk.vary("everything, not the newest", "plan/surgeon: pressure", **(said | {"newest": given["version"]}))
    refused = body.model_copy(update={"refused": plan.cautions[:1]})
    of_it = {"view": replace(view, version=replace(version, body=refused)), "plan": refused}
    walk.vary("everything, by hand", "plan/surgeon: pressure", **(said | of_it))


def _my_patients(walk: Walk) -> None:
    item = _items(walk)[0].item
    odd = replace(item, patient=replace(item.patient, name=f"Odd {ODD}", code="C-0099"), also=(item, item))
    decide = [
        SimpleNamespace(sentence="Nobody could be reached.", line=odd, may_be_lost=True),
        SimpleNamespace(sentence="Nobody could be reached.", line=item, may_be_lost=False),
    ]
    page = "my-patients/surgeon: fortnight"
    look = walk.page("look/surgeon: gil").given["look"]
    eyes = [
        SimpleNamespace(look=look.model_copy(update=change), who=odd.patient, day=3)
        for change in (
            {"hypopyon": "yes", "fibrin": "no", "cells": None},
            {"hypopyon": "no", "fibrin": "yes", "flare": None, "pressure": None},
        )
    ]
    line = walk.page("day-list/reception: first day").given["lines"][0]
    left = [replace(line, who=odd.patient)]
    also = {odd.patient.id: (Also("overdue", f"late {ODD}"), Also("question", "to decide"))}
    lists = {"decide": decide, "mine": [odd, item], "inflamed": eyes, "left": left, "here": left}
    walk.vary("everything", page, also=also, **{name: part(name, lines) for name, lines in lists.items()})


def _lists(walk: Walk) -> None:
    line = _items(walk)[0]
    many = [line._replace(item=replace(line.item, kind=kind)) for kind in KINDS]
    again = [line._replace(item=replace(line.item, waits=True))]
    parts = {"now": part("now", many), "later": part("later", again)}
    walk.vary("every kind", "to-reach/reception: fortnight", **parts, gone=1)
    gone = walk.page("not-followed/reception: three").given["lines"]
    lost = [
        replace(gone[0], standing=replace(gone[0].standing, standing=word, reason=reason))
        for word, reason in (
            ("lost to follow-up", ""),
            ("died", "died"),
            ("moved away", ODD),
            ("refused", ODD),
        )
    ]
    walk.vary("every kind", "not-followed/reception: three", lines=lost)
    for number in (1, 3):
        sent = [
            SimpleNamespace(
                id=number, state=state, tries=number, patient_code="C-0021", day=DAY, last_error=said
            )
            for state, said in (("failed", ODD), ("waiting", ""))
        ]
        walk.vary(
            f"two, tried {number}", "messages/manager: nothing yet", messages=sent, error=f"Refused {ODD}"
        )


KINDS = (
    *("damaged", "left unseen", "plan again", "overdue", "closed day", "plan by hand", "plan incomplete"),
    "new version",
)


def _items(walk: Walk) -> list[Any]:
    return list(walk.page("to-reach/reception: fortnight").given["now"].lines)
