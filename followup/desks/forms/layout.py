"""The order in which the form tells the operation, and the routine answers it starts from."""

from __future__ import annotations

from dataclasses import dataclass

from followup.care.fields.shape import RECORD, Field, Group
from followup.clinical.protocol.protocol import Routine
from followup.language.catalogues import N_


@dataclass(frozen=True)
class Chapter:
    """One part of the story. ``members`` are names below the chapter's root."""

    title: str
    members: tuple[str, ...]
    folded: bool = False


# Below "operations.N.": the operation from opening to closing.
STORY: tuple[Chapter, ...] = (
    Chapter(N_("Which eye, when, by whom"), ("eye", "eye_drawn", "date", "surgeon", "start", "end")),
    Chapter(N_("Before the first cut"), ("anaesthesia", "procedure", "pupil_before_mm", "pupil_widened")),
    Chapter(
        N_("The cut and the chamber"), ("cut_mm", "chamber", "pressure_from_behind", "iridotomy", "bleeding")
    ),
    Chapter(
        N_("The lens comes out"),
        (
            *("synechiae_broken", "membrane_peeled", "iris_torn", "capsule_torn", "vitreous_lost"),
            *("vitrectomy", "zonules_weak", "lens_left", "lens_left_hard", "cornea_touched"),
        ),
    ),
    Chapter(
        N_("Closing"),
        ("lens", "viscoelastic", "antibiotic_in_chamber", "stitches", "watertight", "pad", "steroid"),
    ),
)

# Below "patient.": what the routine case needs; the rest of the patient folds away.
PATIENT = (
    *("code", "name", "birth_date", "birth_year", "sex"),
    *("language", "telephones", "drops_by", "can_squeeze", "can_read"),
)


def routine_answers(routine: Routine, number: int, today: str) -> dict[str, list[str]]:
    """The form of operation ``number`` as it stands before anyone has typed."""
    head = f"operations.{number}."
    answers = {f"{head}{name}": [value] for name, value in routine.typed.items()}
    return answers | {f"{head}date": [today]}


def leftovers(group: Group, told: tuple[str, ...]) -> tuple[Field | Group, ...]:
    """The members of ``group`` that no chapter tells: they fold away, and none is lost."""
    return tuple(member for member in group.members if member.name not in told)


def operation_shape() -> Group:
    """The shape of one operation."""
    found = RECORD.member("operations")
    assert isinstance(found, Group)
    return found


def patient_shape() -> Group:
    """The shape of the patient."""
    found = RECORD.member("patient")
    assert isinstance(found, Group)
    return found
