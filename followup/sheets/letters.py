"""The letter of each bottle: the same on every sheet of one patient, and never another bottle's."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from followup.clinical.careplan import CarePlan
from followup.clinical.protocol.formulary import Medicine


def letters(plans: Iterable[CarePlan], formulary: Mapping[str, Medicine]) -> dict[str, str]:
    """The mark of each medicine of these plans, oldest first: the letter of its role, numbered from the
    second of a role on.

    A medicine that is stopped, left out or replaced keeps its mark: its bottle may still stand at home.
    """
    marks: dict[str, str] = {}
    for plan in plans:
        for medicine in (formulary.get(course.medicine) for course in plan.courses):
            if medicine is not None and medicine.id not in marks:
                before = sum(mark[0] == medicine.mark_letter for mark in marks.values())
                marks[medicine.id] = f"{medicine.mark_letter}{before + 1 if before else ''}"
    return marks
