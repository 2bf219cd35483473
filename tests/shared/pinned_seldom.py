"""More states of pages that a few invented people never show: lists, days, bottles, another language."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any

from pinned_people import ODD
from walked import Walk

from followup.care.house.followed import FollowedVisit, SeenEye
from followup.care.looks.eye_now import CellsNow, EyeNow, PressureNow
from followup.clinical.careplan import Step
from followup.desks.page.parts import part
from followup.drawings.outcomes import build_chart
from followup.recall.jobs.attendance import Arrivals, attendance_rules, learned
from followup.recall.jobs.forecast import ExtraDay
from followup.records.figures.attended import PastVisit

DAY = date(2027, 3, 15)
AT = datetime(2027, 3, 15, 6, tzinfo=UTC)


class Like:
    """Something as it is, but for what is said here."""

    def __init__(self, other: Any, **said: Any) -> None:
        self._other = other
        self.__dict__.update(said)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._other, name)

    def __getitem__(self, name: str) -> Any:
        return self._other[name]


def seldom(walk: Walk, _ids: dict[str, Any]) -> None:
    for vary in (
        _bottles,
        _calendar,
        _calls,
        _dangers,
        _visits,
        _eye,
        _forecast,
        _patient,
        _others,
        _languages,
    ):
        vary(walk)


def _bottles(walk: Walk) -> None:
    page = "bottles/pharmacy: of the first day"
    given = walk.page(page).given
    line, who = given["lines"][0], walk.page("patient/reception: due").given["who"]
    counted = SimpleNamespace(bottles=5, at=AT, by=f"Lina {ODD}")
    lines = [
        replace(line, counted=counted, gone=gone, week=week, name=f"Drops {ODD}")
        for gone, week in ((0, 9), (1, 4), (2, 1))
    ]
    step = SimpleNamespace(mg=20, tablets_figure="4")

    def bottle(eye: str | None, units: str = "", step: Any = None) -> SimpleNamespace:
        course = SimpleNamespace(eye=eye, medicine="drops")
        named = SimpleNamespace(number=2, units=units, figure=units)
        return SimpleNamespace(course=course, step=step, key="k 2", bottle=named)

    hands = (bottle("right"), bottle("right", "30"), bottle(None, "28", step), bottle(None, "1½"))
    one = SimpleNamespace(who=who, plan_id=1, since=DAY, bottles=hands)
    other = SimpleNamespace(who=replace(who, code="C-0099"), plan_id=2, since=DAY, bottles=hands[:1])
    waits = {"today": part("today", (one, other)), "before": part("before", (other,))}
    waits |= {"given": part("given", (one,))}
    noted = [SimpleNamespace(entry=4, code=who.code, text="Bottles marked as given", at=AT, by=f"Lina {ODD}")]
    drawn = {"waits": waits, "noted": noted, "label": lambda _one: f"Drops {ODD}"}
    typed = {f"stock.{line.medicine}": ODD}
    walk.vary("counted", page, lines=lines, typed=typed, error=f"Refused {ODD}", **drawn)
    quiet = waits | {"today": part("today", ()), "before": part("before", ())}
    walk.vary("enough", page, lines=lines[2:], **drawn | {"waits": quiet})


def _calendar(walk: Walk) -> None:
    refused = "calendar/manager: refused"
    given = walk.page(refused).given
    twice = {name: [*values, "second"] for name, values in given["typed"].items()}
    walk.vary("refused, two of each", refused, typed=twice, error=f"Refused {ODD}")
    trip = walk.page("patient/reception: due").given["coming"].trip
    trips = (replace(trip, status="booked", patient_name=ODD), replace(trip, status="proposed"))
    usual = "calendar/manager: usual"
    for count in (1, 2):
        walk.vary(f"{count} hit", usual, hit=trips[:count])
        walk.vary(f"{count} on closed days", usual, hit=(), closed=trips[:count])


def _calls(walk: Walk) -> None:
    who = walk.page("patient/reception: due").given["who"]
    two = replace(who, telephones=(*who.telephones, *who.telephones), name=ODD)
    lines = [(two, ("right", "left"), f"Move it {ODD}"), (replace(who, telephones=()), ("left",), "Move it")]
    for count in (1, 2):
        walk.vary(f"{count} to move", "calls/reception: fourth day", to_move=lines[:count])
        walk.vary(f"{count} to move, no call", "calls/reception: fourth day", to_move=lines[:count], parts={})
    reach = walk.page("call/surgeon: tried").given
    walk.vary("to tell the surgeon", "call/surgeon: tried", way="surgeon", days=())
    item = replace(reach["item"], patient=replace(reach["item"].patient, telephones=()))
    walk.vary("no telephone", "call/surgeon: tried", item=item)


def _dangers(walk: Walk) -> None:
    who = walk.page("patient/reception: due").given["who"]
    said: dict[str, Any] = {"text": "Measure the pressure.", "eye": "right", "key": "right:pressure"}
    checks = [
        SimpleNamespace(check=SimpleNamespace(earliest=start, latest=end, **said), who=replace(who, name=ODD))
        for start, end in (("15:00", "18:00"), ("15:00", None), (None, "18:00"))
    ]
    typed = {"mmhg": ODD, "why": ODD, "key": "right:pressure"}
    for role in ("reception", "surgeon"):
        walk.vary("checks before leaving", f"patient/{role}: in danger", checks=checks, typed=typed)
    walk.vary(
        "checks before leaving, a reason alone",
        "patient/surgeon: in danger",
        checks=checks,
        typed={"why": ODD},
    )
    walk.vary("checks before leaving", "sheet-page/counsellor: handed over", checks=checks)
    walk.vary("checks before leaving", "today/reception: first day", checks=checks)


def _visits(walk: Walk) -> None:
    page = "day-list/reception: first day"
    line = walk.page(page).given["lines"][0]
    away = replace(line.trip, place=ODD, opens="09:00", closes="11:00", hour="10:30")
    reasons = (*line.reasons, *line.reasons)
    both = replace(line.who, eyes=("right", "left"), name=ODD)
    stood = ("overdue", "late", "due today", "here", "left", "done", "cancelled", "upcoming")
    lines = [replace(line, trip=away, who=both, reasons=reasons, stands=stands, days=2) for stands in stood]
    missed = replace(line, trip=replace(away, status="noshow", closes=""), stands="late")
    walk.vary("every standing", page, lines=[*lines, missed])
    page = "move/reception: week"
    days = [
        SimpleNamespace(
            day=DAY + timedelta(days=away), away=away, open=open_, room=room, possible=open_ and room != 0
        )
        for away, open_, room in (
            (-2, True, None),
            (-1, True, 1),
            (0, True, 2),
            (1, True, 0),
            (2, False, 3),
            (3, True, 3),
        )
    ]
    walk.vary(
        "every kind of day",
        page,
        days=days,
        line=replace(lines[0], trip=away),
        because=("A step ends.", "So."),
    )
    walk.vary("no day left", page, days=[])


def _eye(walk: Walk) -> None:
    page = "eye/surgeon: gil, a fortnight"
    case = walk.page(page).given["case"]
    peter = walk.page("plan/surgeon: peter").given
    tablets = next(c for c in peter["plan"].courses if c.steps and c.steps[0].tablets)
    steps = tuple(
        step.model_copy(update={"start": start, "days": 5})
        for step, start in ((tablets.steps[0], DAY), (tablets.steps[-1], DAY + timedelta(days=5)))
    )
    goes_on = tablets.model_copy(update={"goes_on": True, "steps": steps})
    last = tablets.model_copy(update={"goes_on": True, "steps": steps[:1]})
    held, stopped = (tablets.model_copy(update={"state": state}) for state in ("held", "stopped"))
    kept = [
        SimpleNamespace(at=AT, actor=ODD, details={"taken": taken, "reason": ODD})
        for taken in (f"Lower {ODD}", "")
    ]
    both = replace(case.who, eyes=("right", "left"))
    seen = Like(
        case,
        who=both,
        taken=lambda _day: (goes_on, last),
        not_taken=lambda _day: [
            SimpleNamespace(course=held, why=("Is it so?", "And so?")),
            SimpleNamespace(course=stopped, why=(f"Because {ODD}",)),
        ],
        decided=[SimpleNamespace(**vars(one)) for one in kept],
    )
    due = walk.page("day-list/reception: every standing").given["lines"][0]
    planned = {"view": peter["view"], "table": peter["table"]}
    walk.vary("everything", page, case=seen, who=both, due=due, **planned)
    walk.vary("nothing seen yet", page, now=EyeNow())
    for name, cells, pressure in (
        ("above", CellsNow("2+", "0", DAY, senior=False), PressureNow(28, 14, "to treat", DAY)),
        ("for a senior", CellsNow("3+", "3+", DAY, senior=True), PressureNow(24, None, "to watch", DAY)),
        ("lower", CellsNow("0", "1+", DAY, senior=False), PressureNow(12.5, -2, "as it should be", DAY)),
        ("as before", CellsNow("0", "1+", DAY, senior=False), PressureNow(14, 0, "as it should be", DAY)),
    ):
        walk.vary(name, page, now=EyeNow(cells=cells, pressure=pressure), whole=True)


def _forecast(walk: Walk) -> None:
    page = "forecast/manager: fortnight"
    day = next(day for day in walk.page(page).given["weeks"][0] if day)
    few = (
        replace(day, services=(replace(day.services[0], service=ODD, places=1, expected=3),), visits=3)
        if (day.services)
        else day
    )
    week = [
        replace(few, half=True),
        replace(few, open=False),
        replace(day, open=False, visits=0, after_operations=0),
    ]
    seen = [PastVisit("C", DAY, DAY, DAY)] * 60
    walk.vary(
        "learned",
        page,
        past=learned(seen, attendance_rules()),
        weeks=[[replace(one, arrivals=Arrivals(2.5, 1, 4)) for one in week]],
        likely_over=[day.day],
        extra=ExtraDay(6, (("review", 18),), (day.day,)),
        asked={"more": 2, "operations": 6},
    )
    for count in (1, 2):
        walk.vary(
            f"{count} too many", page, weeks=[[None, *week]], missed=count, over=week[:count], shown=few
        )


def _patient(walk: Walk) -> None:
    found = walk.page("patient/reception: found").given["found"]
    page = "patient/reception: two sheets"
    for name, changed in (
        ("in force", {"current": True}),
        ("completed", {"current": False, "completed_at": AT}),
        ("not printed", {"current": False, "give_instead": None}),
        ("none in force", {"current": False, "give_instead": None, "in_force": None}),
    ):
        sheet = replace(found, **changed)
        walk.vary(f"scanned, {name}", page, found=sheet)
        walk.vary(f"scanned, {name}, by the counsellor", "patient/counsellor: tried", found=sheet)
        walk.vary(name, "sheet-page/counsellor: handed over", found=sheet)
    new = replace(found, current=True, sheet=replace(found.sheet, handed_over_at=None))
    walk.vary("scanned, not handed over", page, found=new)
    due = walk.page("day-list/reception: every standing").given["lines"]
    standing = walk.page("not-followed/reception: every kind").given["lines"][0].standing
    walk.vary("lost", "patient/reception: due", gone=standing, typed={"standing": "followed", "reason": ODD})
    typed = {"sign.0": "yes", "sign.1": "no", "nonce": "n" * 20, "why": ODD}
    for name in ("first", "last"):
        early = replace(due[2].trip, window_start=DAY if name == "last" else date(2027, 3, 2), day=DAY)
        coming = replace(due[7], trip=replace(early, status="proposed"))
        lines = [coming, replace(due[5], trip=replace(early, seen_on=DAY))]
        walk.vary(f"early, {name}", "patient/reception: due", coming=coming, lines=lines, typed=typed)
    walk.vary(
        "came on its first day",
        "patient/reception: due",
        coming=replace(
            coming, trip=replace(early, window_start=walk.page("patient/reception: due").given["today"])
        ),
        typed={"nonce": "n" * 20},
    )
    for word in ("moved away", "died", "followed"):
        walk.vary(f"typed {word}", "patient/reception: due", typed={"standing": word, "reason": ODD})
    asked = {"answer": "no", "channel": "paper", "reader": "carer", "address": ODD}
    walk.vary("typed no messages", "patient/reception: due", typed=asked)


def _others(walk: Walk) -> None:
    plan = walk.page("plan/surgeon: pressure").given
    none = {"words": "", "medicine": None, "described": None, "to": "sulfonamide", "reaction": "rash"}
    allergies = [
        SimpleNamespace(**none | said)
        for said in (
            {"words": ODD},
            {"medicine": "diclofenac-0-1"},
            {"described": ODD},
            {"reaction": "severe"},
        )
    ]
    walk.vary(
        "allergies of every kind", "plan/surgeon: pressure", view=Like(plan["view"], allergies=allergies)
    )
    view, body, version = plan["view"], plan["plan"], plan["version"]
    leaving = [
        SimpleNamespace(eye="right", text="Measure.", earliest=start, latest=end, reasons=())
        for start, end in (("15:00", "18:00"), ("15:00", None), (None, None))
    ]
    first = body.courses[0]
    courses = (
        first.model_copy(update={"state": "stopped"}),
        first.model_copy(update={"key": "mouth:x", "eye": None, "goes_on": False}),
        *body.courses[1:],
    )
    other = body.model_copy(update={"courses": courses})
    said = {"view": Like(view, before_leaving=leaving), "plan": other, "base": version, "in_force": None}
    said["table"] = replace(plan["table"], plan=other)
    page = "plan/surgeon: pressure"
    sheets = walk.page("plan/surgeon: with its sheet").given["sheets"]
    sheets = tuple(replace(sheet, handed_over_at=at) for sheet in sheets for at in (None, AT))
    walk.vary("compared with a draft", page, **said, sheets=sheets)
    walk.vary("not signed yet", page, signature=None)
    walk.vary("not made today", page, stale=True)
    lines = walk.page("day-list/reception: every standing").given["lines"][:2]
    for later in (1, 2):
        given = {
            "day": DAY + timedelta(days=3),
            "to_reach": 0,
            "later": later,
            "lines": lines,
            "missed": lines,
        }
        walk.vary(f"another day, {later} later", "today/reception: fortnight", **given)
    walk.vary(
        "refused",
        "preview/counsellor: before printing",
        error=f"Refused {ODD}",
        pages=1,
        language_chosen="ar",
    )
    sheet = replace(
        walk.page("sheet-page/counsellor: handed over").given["sheet"], reason=ODD, handed_over_at=None
    )
    walk.vary(
        "printed again", "sheet-page/counsellor: handed over", sheet=sheet, notice=f"Noted {ODD}", to=ODD
    )
    walk.vary("two signed", "waiting/surgeon: some failed", signed=2)
    walk.vary("one signed", "waiting/surgeon: signed", signed=1)
    changed = [
        SimpleNamespace(place=f"Name {ODD}", was=ODD, now="", kept=True),
        SimpleNamespace(place="Eye", was=None, now=ODD, kept=False),
    ]
    walk.vary("changed meanwhile", "record/surgeon: amina", changed=changed)
    page = "waiting/surgeon: to sign"
    line = walk.page(page).given["together"][0]
    (drops, *_) = line.plan.body.courses
    days = (Step(start=DAY, days=1, count=4), Step(start=DAY, days=1, count=1, mg=20, tablets=4))
    days += (Step(start=DAY, days=2, count=1, mg=10, tablets=2),)
    body = line.plan.body.model_copy(update={"courses": (drops.model_copy(update={"steps": days}),)})
    one_day = Like(line, plan=replace(line.plan, body=body))
    walk.vary("days of one", page, lines=[one_day], together=[one_day])
    since = walk.page("plan/surgeon: before the change").given["since"]
    walk.vary("no change since", "plan/surgeon: before the change", since=replace(since, lines=()))
    here = walk.page("patient/surgeon: here").given["here"]
    (reason, *_) = here.reasons
    seen = replace(here, trip=replace(here.trip, served=(reason.key,)))
    walk.vary("no visit left", "patient/surgeon: here", here=None, coming=None, left=None)
    who = walk.page("patient/reception: due").given["who"]
    other = SimpleNamespace(number="+44 20 7946 0999", whose="carer")
    walk.vary(
        "two telephones",
        "patient/reception: due",
        who=replace(who, telephones=(*who.telephones, other)),
        messages=None,
    )
    walk.vary("here, looked at", "patient/surgeon: here", here=seen)
    walk.vary("the clock jumped", "log-in/nobody: nothing yet", waits=True)
    walk.vary("an error", "find/reception: nobody", error=f"Refused {ODD}", text="", people=[])
    found = walk.page("outcomes/manager: fortnight").given["found"]
    who = walk.page("patient/reception: due").given["who"]
    visits = [
        FollowedVisit(who, "A", "in time", date(2027, 1, 3), date(2027, 1, 2)),
        FollowedVisit(who, "B", "late", date(2027, 2, 3), date(2027, 2, 5)),
        FollowedVisit(who, "C", "never", date(2027, 2, 3), None),
        *[FollowedVisit(who, "C", "in time", date(2027, 3, 1), date(2027, 3, 1))] * 10,
    ]
    eye = SeenEye(who, "left", date(2027, 3, 1), "6/9", "early good")
    counted = replace(found, visits=tuple(visits), eyes=(eye,))
    chart = build_chart([(one.in_time, one.late, one.never) for one in counted.months])
    page = "outcomes/manager: fortnight"
    walk.vary("counted", page, found=counted, chart=chart, visits=visits[:3])
    asked = {"result": "late", "month": "", "risk": "B", "band": "early good"}
    walk.vary("opened", page, found=counted, visits=visits[:3], eyes=[eye], asked=asked, opens=True)
    walk.vary("nothing due yet", page, found=replace(found, visits=()))
    lines = walk.page("operations/counsellor: entered").given["lines"]
    stood = [
        Like(lines[0], plan_status=word, entered=True) for word in ("draft", "active", "on-hold", "none")
    ]
    walk.vary(
        "every state",
        "operations/counsellor: entered",
        lines=stood,
        out=lines[:1],
        takes_out="x",
        error="No.",
    )


def _languages(walk: Walk) -> None:
    """The pages that tell of danger and of bottles, from right to left and in another script."""
    for tag, direction in (("ar", "rtl"), ("hi", "ltr")):
        for page in (
            "patient/reception: in danger",
            "today/reception: in danger",
            "plan/surgeon: gil, before",
            "waiting/surgeon: changed",
        ):
            if any(f"{one.file}/{one.name}" == page for one in walk.drawn):
                walk.vary(f"{page.split(': ')[1]}, {tag}", page, language=tag, direction=direction)
