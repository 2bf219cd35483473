"""The pharmacy's list of a day: the bottles to hand out, patient by patient."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from followup.clinical.formulary import Medicine
from followup.clinical.record import Eye
from followup.records.patients import patients_by_id
from followup.records.plans import plan_bodies, plans_in_force_ids


@dataclass(frozen=True)
class BottleLine:
    """One bottle. ``opens``: the day on which the patient opens it."""

    code: str
    name: str
    eye: Eye | None
    medicine: str
    number: int
    opens: date


def pharmacy_lines(session: Session, day: date, formulary: Mapping[str, Medicine]) -> tuple[BottleLine, ...]:
    """The bottles that plans in force hand over on ``day``, by medicine and patient."""
    owners = plans_in_force_ids(session)
    bodies = plan_bodies(session, owners)
    people = patients_by_id(session, owners.values())
    found = []
    for plan_id, body in bodies.items():
        who = people.get(owners[plan_id])
        for bottle in body.supply if who else ():
            if bottle.handed_over != day or who is None:
                continue
            course = body.course(bottle.course)
            medicine = formulary.get(course.medicine)
            label = medicine.label if medicine else course.medicine
            found.append(BottleLine(who.code, who.name, course.eye, label, bottle.number, bottle.opened))
    return tuple(sorted(found, key=lambda line: (line.medicine, line.code, line.number)))
