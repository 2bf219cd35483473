"""Drops, days and bottles of published tapers (``worked_tapers.toml`` names each source)."""

from __future__ import annotations

import tomllib
from datetime import date, timedelta
from pathlib import Path

import pytest

from followup.clinical.careplan import Course, Step
from followup.clinical.supply import simulate

WORKED = tomllib.loads(Path(__file__).with_name("worked_tapers.toml").read_text(encoding="utf-8"))
REGIMENS = {regimen["name"]: regimen for regimen in WORKED["regimen"]}
OPERATION = date(2024, 2, 1)


def course_of(regimen):
    steps, start = [], OPERATION + timedelta(days=1)
    for count, days in regimen["steps"]:
        steps.append(Step(start=start, days=days, count=count))
        start += timedelta(days=days)
    return Course(key="right:worked", role="other", medicine="worked", eye="right", steps=tuple(steps))


@pytest.mark.parametrize("name", REGIMENS)
def test_a_worked_taper_has_its_published_drops_and_days(name):
    regimen, course = REGIMENS[name], course_of(REGIMENS[name])
    assert course.drops == regimen["drops"]
    assert (course.last_day - OPERATION).days == regimen["days"]


@pytest.mark.parametrize("name", REGIMENS)
def test_a_worked_taper_opens_its_bottles_on_their_days(name):
    regimen = REGIMENS[name]
    bottles = simulate(course_of(regimen), WORKED["drops_per_bottle"], WORKED["open_days"], today=OPERATION)
    assert [(bottle.opened - OPERATION).days for bottle in bottles] == regimen["opened"]
    assert sum(bottle.drops for bottle in bottles) == regimen["drops"]


def test_every_worked_taper_names_its_source_and_how_well_it_is_known():
    assert [name for name, r in REGIMENS.items() if not r["source"] or r["mark"] not in "PSC"] == []
