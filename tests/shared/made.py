"""Plans from the smallest record that says what a line of a clinical table is about."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

from in_words import look_words, steps_words, window_words

from followup.clinical.careplan import CarePlan, CheckGap, Course
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record, parse_record

DAY0 = date(2024, 2, 1)
ROUTINE: dict[str, Any] = {
    "patient": {
        "code": "P-1",
        "name": "Invented Person",
        "birth_date": "1950-01-01",
        "sex": "female",
        "language": "en",
        "drops_by": {"who": "relative", "name": "a niece"},
    },
    "operations": [
        {
            "eye": "right",
            "eye_drawn": "right",
            "date": DAY0.isoformat(),
            "pad": True,
            "procedure": "phacoemulsification",
            "cut_mm": 2.4,
            "stitches": 0,
            "watertight": True,
            "chamber": "normal",
            "viscoelastic": {"removed": "all"},
            "lens": "bag",
            "capsule_torn": False,
            "antibiotic_in_chamber": True,
        }
    ],
}
"""Uneventful surgery on the right eye of a woman of 74: 1 February 2024 is day 0."""
TOLD = {
    "patient", "birth_year_only", "eye", "other_eye", "conditions", "operation", "more_operations", "in_use",
    "reviews", "untold",
}  # fmt: skip
ROLES = ("steroid", "nsaid", "antibiotic", "cycloplegic", "antiviral", "pressure", "salt", "lubricant")


def record_of(told: dict[str, Any]) -> Record:
    """The routine record with what a row tells. ``untold`` are fields of the operation to leave out; days
    of reviews and of more operations are numbers from day 0."""
    data = copy.deepcopy(ROUTINE)
    data["patient"] |= told.get("patient", {})
    if told.get("birth_year_only"):
        del data["patient"]["birth_date"]
    data["patient"]["eyes"] = {"right": told.get("eye", {}), "left": told.get("other_eye", {})}
    data["patient"]["conditions"] = told.get("conditions", {})
    for name in told.get("untold", ()):
        data["operations"][0].pop(name, None)
    more = [
        ROUTINE["operations"][0] | other | {"date": on_day(other["date"])}
        for other in told.get("more_operations", ())
    ]
    data["operations"] = [data["operations"][0] | told.get("operation", {}), *more]
    data["in_use"] = told.get("in_use", [])
    data["reviews"] = [
        {"eye": "right", **look, "date": on_day(look["date"])} for look in told.get("reviews", [])
    ]
    return parse_record(data)


def on_day(number: int) -> str:
    return (DAY0 + timedelta(days=number)).isoformat()


def days_from(day: date | None) -> int | None:
    return None if day is None else (day - DAY0).days


@dataclass(frozen=True)
class Made:
    """A plan in the day numbers and short words of clinical tables."""

    plan: CarePlan

    def new(self, role: str) -> list[Course]:
        """The courses of a role that the operation on the right eye brings, in order of their first day."""
        mine = [
            c
            for c in self.plan.courses
            if c.role == role and c.eye in ("right", None) and not c.from_before and c.state != "stopped"
        ]
        return sorted(mine, key=lambda c: c.first_day or date.max)

    def steps(self, role: str) -> str:
        """ "4x7 3x7" of all courses of a role one after the other; "" where there is none."""
        steps = sorted((s for c in self.new(role) for s in c.steps), key=lambda s: s.start)
        return " ".join(f"{s.count}x{s.days}" for s in steps)

    def first(self, role: str) -> int | None:
        """The day on which the new course of a role begins."""
        return days_from(min((c.first_day for c in self.new(role) if c.first_day), default=None))

    def medicines(self, role: str) -> str:
        """The new products of a role, in the order in which they begin."""
        return ", ".join(c.medicine for c in self.new(role))

    def in_state(self, state: str) -> list[str]:
        """The roles of the right eye, and by mouth, with a course in this state."""
        return sorted({c.role for c in self.plan.courses if c.state == state and c.eye in ("right", None)})

    def served(self) -> dict[str, int | None]:
        """The day on which each look of the right eye took place; None where it did not yet."""
        return {
            n.key.removeprefix("right:"): days_from(n.served_on) for n in self.plan.needs if n.eye == "right"
        }

    def asks(self) -> set[str]:
        return {q.id for q in self.plan.questions}

    def blocks(self) -> set[str]:
        """The questions without whose answer nobody can sign."""
        return {q.id for q in self.plan.questions if q.blocks}

    def cautions(self) -> dict[str, str]:
        return {c.id: c.level for c in self.plan.cautions}

    def windows(self) -> dict[str, str]:
        """Every look of the right eye as "28-35-42"."""
        return {
            n.key.removeprefix("right:"): "-".join(
                str(days_from(d)) for d in (n.earliest, n.target, n.latest)
            )
            for n in self.plan.needs
        }

    def gaps(self) -> dict[str, str]:
        """Every limit between two looks: "14 dates" that count, or "14 days from 0 to 35"."""
        return {gap.key.removeprefix("right:"): _gap(gap) for gap in self.plan.gaps}

    def before_leaving(self) -> dict[str, str]:
        return {check.kind: f"{check.earliest}-{check.latest}" for check in self.plan.before_leaving}

    def recall(self) -> dict[str, str]:
        """How high each look stands on the list to reach."""
        return {n.key.removeprefix("right:"): n.tier for n in self.plan.needs}

    def trips(self) -> list[int]:
        return [(trip.date - DAY0).days for trip in self.plan.trips]

    def opened(self, role: str) -> list[int]:
        """The opening day of each bottle of a role."""
        keys = {c.key for c in self.plan.courses if c.role == role}
        return [(b.opened - DAY0).days for b in self.plan.supply if b.course in keys]

    def apart(self) -> int:
        """The longest time between two visits up to the last steroid day."""
        end = max(self.plan.last_steroid_day.values())
        days = [trip.date for trip in self.plan.trips]
        return max((b - a).days for a, b in pairwise(days) if b <= end)

    def differs(self, expect: dict[str, Any]) -> Iterator[str]:
        """What is not as a row says, in words; see ``EXPECTED`` for what a row can say."""
        unknown = set(expect) - set(EXPECTED) - set(ROLES)
        assert not unknown, f"a row can't expect {sorted(unknown)}"
        for name, wanted in expect.items():
            if name in ROLES:
                found: Any = self.steps(name)
            else:
                found = EXPECTED[name](self, wanted)
            if found != wanted:
                yield from _not_as_expected(name, found, wanted)


def _not_as_expected(name: str, found: Any, wanted: Any) -> Iterator[str]:
    """In words; of several looks only those that differ."""
    if name in ROLES:
        yield f"{name}: planned {steps_words(str(found))}; expected {steps_words(str(wanted))}"
    elif name == "looks":
        for look in wanted:
            if found[look] != wanted[look]:
                days = [words and window_words(words.split("-")) for words in (found[look], wanted[look])]
                yield f"{look_words(look)}: planned {days[0] or 'no such look'}; expected {days[1]}"
    elif name == "last":
        yield f"last day of the steroid: planned day {found}; expected day {wanted}"
    else:
        yield f"{name.replace('_', ' ')}: planned {found}; expected {wanted}"


def _gap(gap: CheckGap) -> str:
    if gap.kind != "look":
        return f"{gap.limit} dates"
    return f"{gap.limit + 1} days from {days_from(gap.first)} to {days_from(gap.last)}"


def _named(found: dict[str, Any], wanted: dict[str, Any]) -> dict[str, Any]:
    return {name: found.get(name) for name in wanted}


EXPECTED: dict[str, Any] = {
    "first": lambda made, wanted: {role: made.first(role) for role in wanted},
    "medicine": lambda made, wanted: {role: made.medicines(role) for role in wanted},
    "held": lambda made, wanted: made.in_state("held"),
    "stopped": lambda made, wanted: made.in_state("stopped"),
    "asks": lambda made, wanted: [id_ for id_ in wanted if id_ in made.asks()],
    "never_asks": lambda made, wanted: [id_ for id_ in wanted if id_ not in made.asks()],
    "blocks": lambda made, wanted: [id_ for id_ in wanted if id_ in made.blocks()],
    "never_blocks": lambda made, wanted: [id_ for id_ in wanted if id_ not in made.blocks()],
    "signable": lambda made, wanted: made.plan.signable,
    "refused": lambda made, wanted: [caution.id for caution in made.plan.refused],
    "cautions": lambda made, wanted: _named(made.cautions(), wanted),
    "no_cautions": lambda made, wanted: [id_ for id_ in wanted if id_ not in made.cautions()],
    "looks": lambda made, wanted: _named(made.windows(), wanted),
    "no_looks": lambda made, wanted: [name for name in wanted if name not in made.windows()],
    "served": lambda made, wanted: {name: made.served().get(name, "no such look") or 0 for name in wanted},
    "tier": lambda made, wanted: made.plan.tiers["right"],
    "gaps": lambda made, wanted: _named(made.gaps(), wanted),
    "no_gaps": lambda made, wanted: [name for name in wanted if name not in made.gaps()],
    "before_leaving": lambda made, wanted: made.before_leaving(),
    "recall": lambda made, wanted: _named(made.recall(), wanted),
    "trips": lambda made, wanted: made.trips(),
    "opened": lambda made, wanted: {role: made.opened(role) for role in wanted},
    "last": lambda made, wanted: days_from(made.plan.last_steroid_day.get("right")),
    "apart": lambda made, wanted: made.apart(),
}
"""What a row can expect of a plan besides the steps of a role."""


_PLANS: dict[tuple[str, str, int], Made] = {}


def plan_of(told: dict[str, Any], protocol: Protocol, day: int = 0) -> Made:
    """The plan on ``day`` for what a row tells; made once, for many rows tell the same."""
    key = protocol.hash, json.dumps({name: told[name] for name in sorted(TOLD & told.keys())}), day
    if key not in _PLANS:
        _PLANS[key] = Made(build_plan(record_of(told), protocol, as_of=DAY0 + timedelta(days=day)))
    return _PLANS[key]
