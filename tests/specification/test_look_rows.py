"""What a look at an eye leads to, row by row of the specification."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from typing import Any

import pytest
from look_cases import Looked, looked_at
from specification import cases_of

Held = Callable[[Looked, Any], None]


def _same(what: str, found: Any, wanted: Any) -> None:
    assert found == wanted, f"{what}: {found}, and not {wanted}"


def _cells(seen: Looked, most: str) -> None:
    told = "no cells expected" if most == "0" else f"cells {most} or fewer expected"
    _same("what is expected", seen.outcome.expected, f"{told} on day {seen.day}")


def _has(seen: Looked, wanted: list[str]) -> None:
    assert set(wanted) <= set(seen.ids()), f"proposed are {seen.ids()}, and not all of {wanted}"


def _lacks(seen: Looked, unwanted: list[str]) -> None:
    assert not set(unwanted) & set(seen.ids()), f"proposed are {seen.ids()}, none of {unwanted} should be"


def _seniors(seen: Looked, wanted: list[str]) -> None:
    _same("for the senior surgeon today", [c.id for c in seen.outcome.senior], wanted)
    if wanted:
        _same("beside what is for the senior surgeon today no proposal", seen.ids(), [])


def _steps(seen: Looked, wanted: dict[str, str]) -> None:
    for where, steps in wanted.items():
        id_, _, course = where.partition(" ")
        _same(f"drops a day x days of {where}", seen.steps(id_, course or None), steps)


def _said(seen: Looked, words: list[str]) -> None:
    for word in words:
        assert word in seen.said(), f'"{word}" is not said: {seen.said()}'


def _starts_today(seen: Looked, ids: list[str]) -> None:
    for id_ in ids:
        _same(f"days until {id_} begins", seen.starts(id_), {0})


def _per_proposal(what: str, of: Callable[[Looked, str], Any]) -> Held:
    def held(seen: Looked, wanted: dict[str, Any]) -> None:
        for id_, one in wanted.items():
            _same(f"{what} of {id_}", of(seen, id_), one)

    return held


def _pressure(seen: Looked, wanted: dict[str, Any]) -> None:
    made = [p for p in seen.outcome.proposals if p.about == "pressure"]
    _same("ways for the pressure", [p.id.removeprefix("pressure-") for p in made], wanted["ways"])
    for one in made:
        _same(f"measured again after {one.id}", seen.looks(one.id), [["pressure", *wanted["again"]]])
        treated = (one.treats, bool(one.offers))
        _same(f"treated by {one.id}, and with something", treated, (wanted["treated"],) * 2)
        _same(f"{one.id} is for today", one.today, wanted["today"])
        _same(f"{one.id} is for the surgeon", one.senior, wanted["surgeon"])
        others = {p.id for p in made} - {one.id}
        _same(f"ways that exclude {one.id}", others & set(one.alternative_to), others)
    told = "pressure-now" in [c.id for c in seen.outcome.notes]
    _same("the surgeon is told", told, wanted["surgeon"])


def _no_pressure(seen: Looked, _: Any) -> None:
    made = [p.title for p in seen.outcome.proposals if p.about == "pressure"]
    _same("proposals for the pressure", made, [])


def _not_said(seen: Looked, words: list[str]) -> None:
    for word in words:
        assert word not in seen.said(), f'"{word}" is said: {seen.said()}'


def _calls(seen: Looked, who: str) -> None:
    now = " ".join(seen.outcome.now)
    _same("who is called", f"{who} surgeon" in now, True)
    _same("asked beside a red flag", seen.missing(), set())
    _same("it says that nothing is changed", "No drop is added, raised or lowered" in now, True)


def _careful(seen: Looked, _: Any) -> None:
    about = [id_ for id_ in seen.ids() if id_.startswith("macular-oedema")]
    _same("NSAID first, then the steroid", about, ["macular-oedema-nsaid", "macular-oedema"])
    _same("the first way", seen.proposal(about[0]).direction, "none")
    _same("they exclude each other", seen.proposal(about[1]).alternative_to, (about[0],))
    _same("NSAID alone", seen.steps(about[0], "nsaid"), "2x42")
    _same("steroid", seen.steps(about[1], "steroid"), "4x28 3x7 2x7 1x7")
    assert "can raise the pressure" in seen.proposal(about[1]).title
    pressure = [look[1:] for look in seen.looks(about[1]) if look[0] == "pressure"]
    _same("pressure measured with the steroid", pressure, [[3, 5, 7]])


def _exclude(seen: Looked, pairs: list[list[str]]) -> None:
    for one, other in pairs:
        for this, that in ((one, other), (other, one)):
            found = seen.proposal(this)
            _same(f"{this} excludes {that}", that in (*found.alternative_to, *found.opposes), True)


def _held_after(seen: Looked, wanted: dict[str, list[str]]) -> None:
    for id_, roles in wanted.items():
        held = sorted({c.role for c in seen.after(id_).courses if c.state == "held"})
        _same(f"held after {id_}", held, roles)


def _added(seen: Looked, wanted: dict[str, Any]) -> None:
    plan = seen.after("pressure-unchanged", offer=(wanted["medicine"], wanted["days"]))
    course = plan.course(f"right:{wanted['medicine']}")
    _same("it begins with the look", course.first_day, seen.outcome.date)
    assert course.last_day is not None
    _same("days given", (course.last_day - seen.outcome.date).days + 1, wanted["days"])
    looks = [n for n in plan.needs if n.kind == "pressure" and n.latest == course.last_day]
    found = [[(d - seen.outcome.date).days + 1 for d in (n.earliest, n.target, n.latest)] for n in looks]
    _same("the look at its end, in days of the medicine", wanted["look"] in found, True)


HELD: dict[str, Held] = {
    "added": _added,
    "calls": _calls,
    "careful": _careful,
    "exclude": _exclude,
    "held": _held_after,
    "first": lambda seen, wanted: _same("the first proposal", seen.ids()[:1], [wanted]),
    "waits": lambda seen, wanted: _same("the steroid waits for answers", bool(seen.outcome.waits), wanted),
    "nothing_asked": lambda seen, _: _same("asked", seen.missing(), set()),
    "never_raise": lambda seen, _: _same(
        "proposals for more steroid", [p.id for p in seen.outcome.proposals if p.direction == "raise"], []
    ),
    "pressure": _pressure,
    "no_pressure": _no_pressure,
    "not_said": _not_said,
    "no_band": lambda seen, _: _same("a band", " responder" in seen.outcome.response, False),
    "cells": _cells,
    "proposals": lambda seen, wanted: _same("all proposals", seen.ids(), wanted),
    "has": _has,
    "lacks": _lacks,
    "seniors": _seniors,
    "notes": lambda seen, wanted: _same("notes", [c.id for c in seen.outcome.notes], wanted),
    "asked": lambda seen, wanted: _same("asked, of these", seen.missing() & set(wanted), set(wanted)),
    "not_asked": lambda seen, wanted: _same(
        "asked too soon or too late", seen.missing() & set(wanted), set()
    ),
    "steps": _steps,
    "said": _said,
    "response": lambda seen, wanted: _same("the response", wanted in seen.outcome.response, True),
    "no_response": lambda seen, _: _same("the response", "Steroid response" in seen.outcome.response, False),
    "looks": _per_proposal("looks", Looked.looks),
    "offers": _per_proposal("what is offered", Looked.offers),
    "title": _per_proposal("words", lambda seen, id_: seen.proposal(id_).title),
    "today": _per_proposal("today", lambda seen, id_: seen.proposal(id_).today),
    "senior": _per_proposal("for the surgeon", lambda seen, id_: seen.proposal(id_).senior),
    "course": _per_proposal("days of steroid", Looked.course_days),
    "starts_today": _starts_today,
    "never_lower": lambda seen, _: _same(
        "proposals for less steroid", [p.id for p in seen.outcome.proposals if p.direction == "lower"], []
    ),
}


@pytest.mark.parametrize("case", cases_of("cells", "pressure", "flags", "form", "findings"))
def test_a_look_leads_to_what_its_row_says(case):
    assert case["expect"]
    assert case["days"]
    for day, mmhg in product(case["days"], case.get("mmhg", [None])):
        seen = looked_at(case, day, mmhg)
        for what, wanted in case["expect"].items():
            HELD[what](seen, wanted)
