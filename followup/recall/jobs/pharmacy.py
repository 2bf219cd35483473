"""The pharmacy's lists: the bottles to hand out, patient by patient."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from followup.clinical.careplan import Course, Step
from followup.clinical.day_plan import Bottle
from followup.clinical.plan.tablets import dose_words
from followup.clinical.protocol.formulary import Medicine, label_of
from followup.clinical.record import Eye
from followup.records.desk.attempts import standings
from followup.records.people.patients import patients_by_id
from followup.records.plans.listed import plan_gists, plans_handing_out
from followup.records.store.store import Session
from followup.records.views import PatientView

BEFORE = timedelta(days=7)
"""How far back a bottle that nobody has marked as given is still asked for."""


@dataclass(frozen=True)
class BottleToHandOut:
    """One bottle that one person takes home on ``bottle.handed_over``, by the plan in force."""

    plan_id: int
    patient: PatientView
    course: Course
    bottle: Bottle

    @property
    def key(self) -> str:
        """What a form or a program names it by: its course, then its number."""
        return f"{self.course.key} {self.bottle.number}"

    @property
    def amount(self) -> float:
        """One bottle, or so many tablets."""
        return 1 if self.bottle.units is None else self.bottle.units

    @property
    def step(self) -> Step | None:
        """By mouth: what is taken on the first day that the tablets are for."""
        by_mouth = self.bottle.units and self.course.eye is None
        return self.course.step_on(self.bottle.opened) if by_mouth else None

    def dose(self, formulary: Mapping[str, Medicine]) -> str:
        """By mouth: mg a day and tablets a time from the day on which they are begun."""
        return dose_words(self.step, formulary.get(self.course.medicine)) if self.step else ""


@dataclass(frozen=True)
class BottleLine:
    """One bottle, or the tablets of one visit with their dose. ``opens``: the day on which it is begun."""

    code: str
    name: str
    eye: Eye | None
    medicine: str
    number: int
    opens: date
    tablets: str
    dose: str


def hand_outs(
    session: Session, start: date, end: date, patient: int | None = None
) -> tuple[BottleToHandOut, ...]:
    """The bottles that plans in force hand over, both days included, by day, name and course.

    Whoever is not followed any more takes none home. ``patient``: that one's alone.
    """
    owners = plans_handing_out(session, start, end, patient)
    gone = standings(session, owners.values())
    gists = plan_gists(session, [plan for plan, owner in owners.items() if owner not in gone])
    due = [
        (plan_id, gist, bottle)
        for plan_id, gist in gists.items()
        for bottle in gist.supply
        if start <= bottle.handed_over <= end
    ]
    people = patients_by_id(session, {owners[plan_id] for plan_id, _, _ in due})
    found = [
        BottleToHandOut(plan_id, people[owners[plan_id]], gist.course(bottle.course), bottle)
        for plan_id, gist, bottle in due
        if owners[plan_id] in people
    ]
    return tuple(sorted(found, key=_place))


def _place(one: BottleToHandOut) -> tuple[date, str, str, str, int]:
    who = one.patient
    return one.bottle.handed_over, who.name.casefold(), who.code, one.course.key, one.bottle.number


def pharmacy_lines(session: Session, day: date, formulary: Mapping[str, Medicine]) -> tuple[BottleLine, ...]:
    """The bottles of ``day`` for a spreadsheet, by medicine and patient."""
    lines = (
        BottleLine(
            one.patient.code,
            one.patient.name,
            one.course.eye,
            label_of(one.course.medicine, formulary),
            one.bottle.number,
            one.bottle.opened,
            one.bottle.figure if one.bottle.units else "",
            one.dose(formulary),
        )
        for one in hand_outs(session, day, day)
    )
    return tuple(sorted(lines, key=lambda line: (line.medicine, line.code, line.number)))
