"""A routine care plan and its parts, written by hand."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from followup.clinical.careplan import CarePlan, Caution, Course, ReviewNeed, Step, Trip
from followup.clinical.day_plan import Bottle, DayPhase, Dose

OPERATED = date(2026, 6, 1)  # a Monday


def steps(start: date, *pairs: tuple[int, int]) -> tuple[Step, ...]:
    """``(count, days)`` pairs, one after the other from ``start``."""
    found = []
    for count, days in pairs:
        found.append(Step(start=start, days=days, count=count))
        start += timedelta(days=days)
    return tuple(found)


def day(offset: int) -> date:
    return OPERATED + timedelta(days=offset)


def course(key: str, role: str, medicine: str, *pairs: tuple[int, int], **more: Any) -> Course:
    side = key.split(":")[0]
    return Course(
        key=key,
        role=role,
        medicine=medicine,
        eye=side if side in ("left", "right") else None,
        steps=steps(day(1), *pairs),
        **more,
    )


def need(key: str, a: int, t: int, b: int, service: str = "doctor") -> ReviewNeed:
    eye, kind = key.split(":")
    return ReviewNeed(
        key=key,
        kind=kind,
        eye=eye,
        service=service,
        tier="C",
        earliest=day(a),
        target=day(t),
        latest=day(b),
    )


def trip(number: int, on: int, *serves: str, **more: Any) -> Trip:
    return Trip(
        number=number,
        date=day(on),
        serves=serves,
        services=("doctor",),
        window_start=day(on),
        window_end=day(on + 1),
        tier="C",
        **more,
    )


def phase(start: int, end: int, **times: str) -> DayPhase:
    """``steroid="06:00 12:00"`` names the left eye's bottle and its times."""
    doses = tuple(
        Dose(course=f"left:{key}", count=len(value.split()), times=tuple(value.split()))
        for key, value in times.items()
    )
    return DayPhase(
        start=day(start),
        end=day(end),
        times=tuple(sorted({t for dose in doses for t in dose.times})),
        doses=doses,
    )


def routine_plan(**changes: Any) -> CarePlan:
    """The usual four weeks of a quiet left eye."""
    four, three, two = "06:00 11:00 17:00 22:00", "06:00 17:00 22:00", "06:00 17:00"
    plan = CarePlan(
        patient="P-204",
        as_of=OPERATED,
        status="draft",
        protocol="Sample protocol 1",
        protocol_hash="0" * 64,
        approved=False,
        engine="1",
        courses=(
            course("left:steroid", "steroid", "prednisolone-acetate-1", (4, 7), (3, 7), (2, 7), (1, 7)),
            course("left:antibiotic", "antibiotic", "moxifloxacin-0-5", (4, 7)),
            course("left:nsaid", "nsaid", "bromfenac-0-09", (2, 14)),
        ),
        rounds=(
            phase(1, 7, steroid=four, antibiotic=four, nsaid=two),
            phase(8, 14, steroid=three, nsaid=two),
            phase(15, 21, steroid=two),
            phase(22, 28, steroid="06:00"),
        ),
        supply=(
            Bottle(
                course="left:steroid", number=1, opened=day(1), discard=day(28), drops=70, handed_over=day(0)
            ),
            Bottle(
                course="left:antibiotic",
                number=1,
                opened=day(1),
                discard=day(7),
                drops=28,
                handed_over=day(0),
            ),
            Bottle(
                course="left:nsaid", number=1, opened=day(1), discard=day(14), drops=28, handed_over=day(0)
            ),
        ),
        needs=(
            need("left:first-look", 1, 1, 2),
            need("left:wound", 5, 7, 9),
            need("left:refraction", 29, 35, 56, "refraction"),
        ),
        trips=(
            trip(1, 1, "left:first-look"),
            trip(2, 7, "left:wound"),
            trip(3, 35, "left:refraction"),
        ),
        cautions=(Caution(id="x", text="staff only", eye="left", level="note"),),
        last_steroid_day={"left": day(28)},
    )
    return plan.model_copy(update=changes)
