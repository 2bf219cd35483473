"""Drops, days and bottles of published tapers (``worked_tapers.toml`` names each source), as plans run them.

Each is planned for an ordinary eye: where the protocol has no such course, the steps and the product take
the place of the routine ones. Drops are counted off the clock times of every day.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from made import DAY0, Made, record_of

from followup.clinical.careplan import CarePlan
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.rule import Taper

WORKED = tomllib.loads(Path(__file__).with_name("worked_tapers.toml").read_text(encoding="utf-8"))
REGIMENS = {regimen["name"]: regimen for regimen in WORKED["regimen"]}


@pytest.fixture(params=list(REGIMENS))
def worked(request, sample) -> tuple[dict, Made]:
    """A regimen and the plan that runs it, with a bottle of 5 ml at 20 drops a millilitre."""
    regimen = REGIMENS[request.param]
    told = dict(regimen.get("told", {}))
    protocol = sample
    if "told" not in regimen:
        told = {"operation": {"products": [{"role": regimen["role"], "medicine": regimen["medicine"]}]}}
        if regimen["role"] == "steroid":
            steps = Taper(id="R", steps=regimen["steps"], because="worked", source="worked", mark="C")
            protocol = replace(sample, tapers={**sample.tapers, "R": steps})
    return regimen, Made(build_plan(record_of(told), protocol, as_of=DAY0))


def by_clock(plan: CarePlan, key: str) -> dict[int, int]:
    """How many times of the clock a course has on each day of the plan."""
    found: dict[int, int] = {}
    for phase in plan.rounds:
        for dose in phase.doses:
            if dose.course == key:
                for n in range((phase.end - phase.start).days + 1):
                    day = (phase.start + timedelta(days=n) - DAY0).days
                    found[day] = found.get(day, 0) + len(dose.times)
    return found


def test_a_worked_taper_has_its_published_drops_on_its_days(worked):
    regimen, made = worked
    day, expected = 1, {}
    for count, days in regimen["steps"]:
        expected |= dict.fromkeys(range(day, day + days), count)
        day += days
    taken = by_clock(made.plan, f"right:{regimen['role']}")
    assert taken == expected
    assert sum(taken.values()) == regimen["drops"]
    assert max(taken) == regimen["days"]


def test_a_worked_taper_opens_its_bottles_on_their_days(worked, sample):
    regimen, made = worked
    medicine = sample.formulary[made.plan.course(f"right:{regimen['role']}").medicine]
    assert (medicine.id, medicine.volume_ml, medicine.open_days) == (regimen["medicine"], 5, 28)
    bottles = [b for b in made.plan.supply if b.course == f"right:{regimen['role']}"]
    assert [(b.opened - DAY0).days for b in bottles] == regimen["opened"]
    assert sum(b.drops for b in bottles) == regimen["drops"]
    # 28 days with that of opening, or the last day of the course.
    assert [(b.discard - DAY0).days for b in bottles] == [
        min(opened + 27, regimen["days"]) for opened in regimen["opened"]
    ]


def test_every_worked_taper_names_its_source_and_how_well_it_is_known():
    assert [name for name, r in REGIMENS.items() if not r["source"] or r["mark"] not in "PSC"] == []
