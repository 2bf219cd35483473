"""Time lines of an eye, made by hand; some are chosen so that together they reach all that is drawn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from datetime import date, timedelta

from followup.clinical.careplan import CarePlan, Course, Step, Trip
from followup.clinical.record import Record, parse_record
from followup.drawings.staircase import build_staircase
from followup.drawings.timeline import build_timeline
from followup.drawings.timeline_svg import chart_svg, timeline_svg, timeline_table
from followup.drawings.timeline_words import ENGLISH, TimelineWords

DAY0 = date(2026, 3, 2)


def day(number: int) -> date:
    return DAY0 + timedelta(days=number)


def a_record(reviews=(), both=False) -> Record:
    operations = [
        {"eye": "right", "eye_drawn": "right", "date": DAY0.isoformat(), "procedure": "phacoemulsification"}
    ]
    if both:
        left = {"eye": "left", "eye_drawn": "left", "date": day(10).isoformat()}
        operations.append(operations[0] | left)
    patient = {"code": "T-1", "name": "Invented Person", "birth_year": 1955}
    return parse_record({"patient": patient, "operations": operations, "reviews": list(reviews)})


def a_course(*steps, role="steroid", start=1, state="active", eye="right") -> Course:
    made, at = [], day(start)
    for count, days in steps:
        made.append(Step(start=at, days=days, count=count))
        at += timedelta(days=days)
    medicine = {"steroid": "dexamethasone-0-1"}.get(role, "levofloxacin-0-5")
    return Course(key=f"{eye}:{role}", role=role, medicine=medicine, eye=eye, state=state, steps=tuple(made))


def a_plan(*courses, visits=(), as_of=0) -> CarePlan:
    trips = tuple(
        Trip(
            number=i,
            date=day(at),
            status=status,
            serves=(),
            services=(),
            window_start=day(at),
            window_end=day(at),
            tier="C",
        )
        for i, (at, status) in enumerate(visits, 1)
    )
    return CarePlan(
        patient="T-1",
        as_of=day(as_of),
        status="active",
        protocol="p",
        protocol_hash="h",
        approved=True,
        engine="e",
        courses=courses,
        trips=trips,
    )


def a_look(at: int, **found: str | float) -> dict[str, object]:
    return {
        "eye": "right",
        "date": day(at).isoformat(),
        "cells": "1+",
        "pressure": 16,
        "vision": "6/9",
    } | found


R = ((4, 7), (3, 7), (2, 7), (1, 7))


# ---- those that are pinned ----------------------------------------------------------------------------
VISITS = [(1, "fulfilled"), (7, "noshow"), (8, "arrived"), (29, "proposed"), (30, "cancelled")]


def _usual() -> tuple[list[CarePlan], Record, date]:
    """Another course than planned, two drops beside it, two looks."""
    beside = a_course((2, 14), role="nsaid"), a_course((4, 7), (2, 3), role="antibiotic", state="held")
    now = a_plan(a_course((4, 7), (8, 7), *R), *beside, visits=VISITS)
    seen = [a_look(1, flare="2+"), a_look(7, cells="not seen", pressure="not done"), a_look(8, cells="0")]
    del seen[-1]["vision"]
    return [a_plan(a_course(*R)), now], a_record(seen, both=True), day(9)


def _crowded() -> tuple[list[CarePlan], Record, date]:
    """Months, a pause, looks and visits day after day, long words, and a pressure above the scale."""
    pause = a_course((16, 2), (4, 60)), a_course((1, 40), start=75), a_course((2, 1), start=120)
    plan = a_plan(*pause, visits=[(at, "booked") for at in (*range(30, 42), 119, 120)])
    cells = ("0.5+", "1+", "2+", "3+", "4+", "0")
    looks = [
        a_look(40 + at, cells=grade, pressure=14.5 + 10 * at, vision="long " * 9)
        for at, grade in enumerate(cells)
    ]
    return [plan], a_record([*looks, a_look(119, vision="NPL")]), day(119)


def _nothing() -> tuple[list[CarePlan], Record, date]:
    return [a_plan()], a_record(), day(0)


def _drawn(plans: list[CarePlan], record: Record, on: date, words: TimelineWords = ENGLISH) -> list[str]:
    line = build_timeline(plans, record, "right", on)
    svg, table = (made(line, words) for made in (timeline_svg, timeline_table))
    return [*svg.splitlines(), *table.splitlines()]


def _held_from_right_to_left() -> list[str]:
    plan = a_plan(a_course(*R, state="held"), a_course((2, 14), role="nsaid"), visits=VISITS[:3])
    return _drawn([plan], a_record([a_look(1), a_look(3)]), day(29), words=TimelineWords(rtl=True))


def _stairs() -> list[str]:
    """Every part of the drawings of two plans, at their edges, turned over and for each eye."""
    before = a_course((2, 90), role="pressure", start=-10).model_copy(update={"from_before": True})
    steroid, pause = a_course(*R), a_course((3, 2), (1, 3), eye="left", start=5, role="nsaid")
    first, *others = pause.steps
    gap = pause.model_copy(update={"steps": (first, others[0].model_copy(update={"start": day(12)}))})
    stopped = a_course((6, 60), role="antibiotic", state="stopped")
    held = a_course((1, 9), role="antibiotic", eye="left", state="held")
    plans = [
        a_plan(gap, steroid, before, held, stopped, visits=VISITS),
        a_plan(before),
        a_plan(visits=VISITS[3:]),
    ]
    found: list[str] = []
    for plan in plans:
        for given in (
            {},
            {"mirrored": True},
            {"eye": "left"},
            {"today": day(0)},
            {"today": day(1)},
            {"today": day(29)},
        ):
            drawing = build_staircase(plan, **given)
            found.append(str(given))
            if drawing is None:
                found.append("  nothing")
                continue
            told = asdict(drawing)
            parts = [*told.pop("stairs"), *told.pop("ticks"), told]
            found += [f"  {part}" for part in parts]
    return found


DRAWINGS: dict[str, Callable[[], list[str]]] = {
    "time_line_usual": lambda: _drawn(*_usual()),
    "time_line_crowded": lambda: _drawn(*_crowded()),
    "time_line_of_nothing": lambda: _drawn(*_nothing()),
    "time_line_from_right_to_left": _held_from_right_to_left,
    "time_line_of_both_eyes": lambda: chart_svg(*_usual()).splitlines(),
    "stairs": _stairs,
}
