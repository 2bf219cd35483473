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


HELD: dict[str, Held] = {
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
    "not_asked": lambda seen, wanted: _same("asked too soon or too late", seen.missing() & set(wanted), set()),
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
    "starts_today": lambda seen, ids: [
        _same(f"days until {id_} begins", seen.starts(id_), {0}) for id_ in ids
    ]
    and None,
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
