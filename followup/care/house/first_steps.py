"""What a new clinic still has to do before its first sheet can be printed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from followup.care.hand import Hand
from followup.records.figures.expected import has_operations
from followup.records.house.staff import all_staff
from followup.timing.calendar import Calendar

StepName = Literal["surgeon", "counsellor", "protocol", "calendar", "list"]


@dataclass(frozen=True)
class FirstStep:
    """One thing that a clinic does once."""

    name: StepName
    done: bool


def first_steps(hand: Hand) -> tuple[FirstStep, ...]:
    """Every step in the order in which they are done; nothing once all of them are."""
    with hand.store.read() as session:
        people = [one for one in all_staff(session) if one.active]
        operated = has_operations(session)
    roles = {role for one in people for role in one.roles}
    steps = (
        FirstStep("surgeon", any("surgeon" in one.roles and one.registration for one in people)),
        FirstStep("counsellor", "counsellor" in roles),
        FirstStep("calendar", hand.calendar != Calendar()),
        FirstStep("protocol", hand.approved),
        FirstStep("list", operated),
    )
    return () if all(step.done for step in steps) else steps
