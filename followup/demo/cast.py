"""Who is in the demonstration: the twelve told cases, moved to days around today, and invented others."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from importlib.resources import files
from random import Random
from typing import Any

from followup.clinical.record import Eye, Record, parse_json_object, parse_record
from followup.demo.clinic import is_open
from followup.demo.looks import ToldLook
from followup.demo.people import invent
from followup.timing.calendar import every_day

BACK, AHEAD = 42, 13  # with today: eight weeks
# Monday, Tuesday, Thursday, Friday, and Sunday where the clinic works on Sundays.
OPERATING_DAYS = (0, 1, 3, 4, 6)


@dataclass(frozen=True)
class CastMember:
    """A record and what happens after it: ``misses`` counts visits from 1, in order of their days.

    ``answers`` is what the surgeon adds to the record before signing, by dotted field name.
    """

    record: Record
    answers: Mapping[str, Any] = field(default_factory=dict)
    misses: frozenset[int] = frozenset()
    stays_away_after: int = 99
    telephone_dead: bool = False
    told_no_show: bool = False
    sheet_lost_after: int | None = None
    looks: tuple[ToldLook, ...] = ()
    stops_at: str = "handed over"

    @property
    def operated(self) -> date:
        return self.record.last_operation_day

    @property
    def eye(self) -> Eye:
        return max(self.record.operations, key=lambda operation: operation.date).eye

    def comes(self, visit: int) -> bool:
        return visit not in self.misses and visit <= self.stays_away_after


def cast(rng: Random, today: date) -> tuple[CastMember, ...]:
    """Everybody operated from six weeks ago until today, by day of operation."""
    people = [case(name, today) for name in CASES]
    people += _invented(rng, today)
    return tuple(sorted(people, key=lambda person: (person.operated, person.record.patient.code)))


def expected(rng: Random, today: date) -> dict[date, list[tuple[str, str, Eye]]]:
    """The operation lists of the days to come: code, name and eye of people not yet operated."""
    lists: dict[date, list[tuple[str, str, Eye]]] = {}
    number = 900
    for day in _operating_days(today + timedelta(days=1), today + timedelta(days=AHEAD), today):
        for _ in range(rng.randint(2, 4)):
            who = parse_record(invent(rng, number, day), "an expected patient")
            lists.setdefault(day, []).append((who.patient.code, who.patient.name, who.operations[0].eye))
            number += 1
    return lists


def case(name: str, today: date) -> CastMember:
    """A told case, its dates moved so that it was operated its number of days before ``today``."""
    days_ago, story = CASES[name]
    data = case_data(name)
    operated = date.fromisoformat(max(operation["date"] for operation in data["operations"]))
    day = today - timedelta(days=days_ago)
    while not _can_operate(day, today):
        day -= timedelta(days=1)
    story = {**story, "answers": _moved(story.get("answers", {}), day - operated)}
    return CastMember(parse_record(_moved(data, day - operated), name), **story)


def case_names() -> tuple[str, ...]:
    """The told cases that travel with the program, in order."""
    folder = files("followup.demo") / "cases"
    return tuple(sorted(entry.name.removesuffix(".json") for entry in folder.iterdir()))


def case_data(name: str) -> dict[str, Any]:
    """A told case as it is written, on the days it was told for."""
    text = (files("followup.demo") / "cases" / f"{name}.json").read_text("utf-8")
    return parse_json_object(text, name)


def _moved(data: Any, by: timedelta, key: str = "") -> Any:
    """``data`` with every day moved, but for the day of birth."""
    if isinstance(data, dict):
        return {name: _moved(value, by, name) for name, value in data.items()}
    if isinstance(data, list):
        return [_moved(value, by, key) for value in data]
    if isinstance(data, str) and key != "birth_date" and re.fullmatch(r"\d{4}-\d\d-\d\d", data):
        return (date.fromisoformat(data) + by).isoformat()
    return data


def _invented(rng: Random, today: date) -> Iterator[CastMember]:
    number = 100
    for day in _operating_days(today - timedelta(days=BACK), today - timedelta(days=1), today):
        for _ in range(rng.randint(1, 3)):
            number += 1
            yield CastMember(parse_record(invent(rng, number, day), "an invented patient"), **_fate(rng))
    # Today's own, each as far as another desk has come with it; the first leaves something to ask.
    for place, stage in enumerate(("drafted", "drafted", "printed", "handed over")):
        number += 1
        data = invent(rng, number, today)
        if place == 0:
            data["operations"][0].pop("chamber")
            data["patient"]["drops_by"] = {"who": "nobody"}
        yield CastMember(parse_record(data, "an invented patient"), stops_at=stage)


def _fate(rng: Random) -> dict[str, Any]:
    """Seven in ten come to every visit; the others give reception something to do."""
    story = rng.choices(("comes", "misses one", "stays away", "loses the sheet"), (70, 12, 10, 8))[0]
    if story == "misses one":
        return {"misses": frozenset({rng.randint(1, 3)}), "told_no_show": rng.random() < 0.5}
    if story == "stays away":
        return {"stays_away_after": rng.randint(0, 2), "told_no_show": rng.random() < 0.3}
    return {"sheet_lost_after": 1} if story == "loses the sheet" else {}


def _operating_days(first: date, last: date, today: date) -> Iterator[date]:
    """Days of operations; ``today`` is always one, so that there is something to see."""
    for day in every_day(first, last):
        if day == today or (day.weekday() in OPERATING_DAYS and _can_operate(day, today)):
            yield day


def _can_operate(day: date, today: date) -> bool:
    """Nobody is operated before a closed day: the first look may have to be on the next."""
    return is_open(day, today) and is_open(day + timedelta(days=1), today)


# How many days before today each told case was operated, what the surgeon answered, what came after.
CASES: dict[str, tuple[int, dict[str, Any]]] = {
    "01-wanjiru": (36, {}),
    "02-tom": (13, {"misses": frozenset({2}), "told_no_show": True}),
    "03-amina": (
        26,
        {
            "answers": {
                "operations.0.steroid.0.crystals_seen_after": False,
                "operations.0.viscoelastic.removed": "all",
                "operations.0.choices.cycloplegic": "do not give",
                "patient.eyes.left.uveitis.kind": "anterior",
                "patient.eyes.left.uveitis.herpetic": False,
                "patient.eyes.left.uveitis.infection_excluded": True,
                "patient.conditions.tuberculosis": False,
                "patient.conditions.syphilis": False,
                "patient.drops_by": {"who": "relative", "name": "her sister"},
            },
            "looks": (
                ToldLook(
                    6,
                    {"cells": "2+", "flare": "1+", "pressure": 18},
                    takes=("raise",),
                    reason="More cells than an eye with uveitis should have by now.",
                ),
                ToldLook(8, {"cells": "1+", "pressure": 17}),
                ToldLook(13, {"cells": "0.5+", "pressure": 19}),
                ToldLook(
                    20,
                    {"cells": "1+", "pressure": 27},
                    takes=("pressure-unchanged",),
                    offer=("dorzolamide-2", 28),
                    reason="The pressure rises while cells are left: the steroid stays as it is.",
                    handed_over=False,
                ),
            ),
        },
    ),
    "04-peter": (
        6,
        {
            "answers": {
                "operations.0.choices.cycloplegic": "do not give",
                "operations.0.viscoelastic.removed": "all",
                "in_use.0.ordered_by": "Dr Elian Mossgrove",
                "patient.drops_by": {"who": "relative"},
                "patient.eyes.right.uveitis.kind": "anterior",
                "patient.eyes.right.uveitis.herpetic": False,
                "patient.eyes.right.uveitis.infection_excluded": True,
                "patient.conditions.tuberculosis": False,
                "patient.conditions.syphilis": False,
            },
            "looks": (
                ToldLook(
                    4,
                    {
                        "cells": "3+",
                        "flare": "3+",
                        "hypopyon": "yes",
                        "pain": "yes",
                        "redness_growing": "yes",
                        "vision_falling": "yes",
                        "vision": "hand movements",
                        "pressure": 24,
                        "note": "Sent to the surgeon on duty at once, as an infection until shown otherwise.",
                    },
                    unasked="The eye hurts and sees less since the morning.",
                ),
            ),
        },
    ),
    # Days in an answer are those of the case as it was told; they move with it.
    "05-lakshmi": (
        3,
        {
            "answers": {
                "reviews": [{"eye": "right", "date": "2026-02-21"}, {"eye": "right", "date": "2026-02-27"}]
            }
        },
    ),
    "06-ibrahim": (
        24,
        {
            "answers": {"patient.drops_by": {"who": "relative", "name": "his grandson"}},
            "stays_away_after": 1,
            "telephone_dead": True,
        },
    ),
    "07-grace": (
        18,
        {
            "answers": {
                "operations.0.choices.responder_course": "A",
                "patient.conditions.tolerates_aspirin": True,
                "in_use.0.medicine": "dorzolamide-2",
                "in_use.0.count_a_day": 2,
                "in_use.1.medicine": "brimonidine-0-2",
                "in_use.1.count_a_day": 2,
            },
            "looks": (
                ToldLook(6, {"pressure": 20}),
                ToldLook(
                    12,
                    {"pressure": 31},
                    takes=("pressure-stop",),
                    reason="No cells, and this eye is known to rise on steroid.",
                ),
                ToldLook(15, {"pressure": 22}),
            ),
        },
    ),
    "08-rafiq": (1, {}),
    "09-devika": (
        7,
        {
            "answers": {
                "patient.eyes.right.herpetic_keratitis.active_epithelial_disease": False,
                "patient.eyes.right.herpetic_keratitis.antiviral_cover": True,
                "patient.eyes.right.corneal_feeling": "normal",
            },
            "sheet_lost_after": 1,
        },
    ),
    "10-joao": (
        40,
        {"answers": {"patient.help_arranged": "helper", "operations.0.viscoelastic.removed": "all"}},
    ),
    "11-fatuma": (
        21,
        {
            "answers": {
                "operations.0.antibiotic_in_chamber": True,
                "operations.0.viscoelastic.removed": "all",
                "patient.language": "sw",
                "patient.drops_by": {"who": "relative", "name": "her daughter"},
            },
            "looks": (
                ToldLook(
                    10,
                    {"cells": "2+", "flare": "1+", "pressure": 15},
                    takes=("rescue",),
                    reason="The depot alone is not enough.",
                    unasked="The light hurts since yesterday.",
                ),
                ToldLook(11, {"cells": "1+", "pressure": 16}),
            ),
        },
    ),
    "12-li": (1, {}),
}
