"""The order in which the form tells the operation, and the routine answers it starts from."""

from __future__ import annotations

from dataclasses import dataclass

from followup.care.fields.shape import RECORD, Field, Group
from followup.clinical.protocol.protocol import Routine
from followup.language.catalogues import N_
from followup.language.typed_days import Lean


@dataclass(frozen=True)
class Chapter:
    """One part of the story. ``members`` are names below the chapter's root."""

    title: str
    members: tuple[str, ...]


# Below "operations.N.": the operation from opening to closing.
THE_EYE = Chapter(N_("The eye"), ("eye_drawn", "eye", "date", "surgeon"))
STORY: tuple[Chapter, ...] = (
    THE_EYE,
    Chapter(
        N_("Anaesthesia and incision"),
        ("anaesthesia", "procedure", "start", "end", "cut_mm", "iridotomy", "iridotomy_by"),
    ),
    Chapter(
        N_("Pupil and iris"),
        (
            *("pupil_before_mm", "synechiae_broken", "synechiae_degrees", "membrane_peeled"),
            *("pupil_widened", "iris_torn"),
        ),
    ),
    Chapter(N_("Chamber"), ("chamber", "pressure_from_behind", "bleeding", "fibrin", "cornea_touched")),
    Chapter(
        N_("Capsule, vitreous, lens, zonules"),
        (
            *("capsule_torn", "vitreous_lost", "vitrectomy", "lens", "lens_power", "lens_left"),
            *("lens_left_hard", "zonules_weak"),
        ),
    ),
    Chapter(N_("Put into the eye"), ("steroid", "antibiotic_in_chamber", "antibiotic", "air_or_gas")),
    Chapter(N_("Closing"), ("viscoelastic", "stitches", "watertight", "pad", "free_text")),
)

# Below "patient.": who it is; the rest of the patient folds away.
PATIENT = (
    *("code", "name", "birth_date", "birth_year", "sex"),
    *("language", "telephones", "drops_by", "can_squeeze", "can_read"),
)
# What has a place of its own beside these.
APART = ("allergies", "no_other_allergy", "conditions", "eyes")
# Below an eye of the patient: what is typed of its history beside the chips.
HISTORY = ("pressure_before", "vision_before", "axial_length_mm", "uveitis", "herpetic_keratitis")
ILLNESSES, EYES = "patient.conditions.", ("patient.eyes.right.", "patient.eyes.left.")
# Answers of yes or no that are told as chips: whoever asked for all of them says so once.
CHIPS: dict[str, tuple[str, ...]] = {
    ILLNESSES: (
        *("asthma", "severe_airway_disease", "nasal_polyps", "slow_heart", "heart_block", "heart_failure"),
        *("kidney_disease", "liver_disease", "sickle_cell", "rheumatoid", "sjogren", "tuberculosis"),
        *("syphilis", "immunosuppressed", "urine_retention", "blood_thinner", "mao_inhibitor"),
    ),
} | dict.fromkeys(
    EYES,
    (
        *("only_seeing", "glaucoma", "damaged_nerve", "steroid_responder", "pseudoexfoliation"),
        *("macular_oedema", "epiretinal_membrane", "vein_occlusion", "retinal_detachment"),
        *("weak_endothelium", "corneal_graft", "corneal_scar"),
    ),
)
# Asked with the same question, and answered "no" where nothing else was.
ASKED_TOO: dict[str, tuple[str, ...]] = {ILLNESSES: ("diabetes", "cyp3a4_inhibitor")}
# The year that is meant where a day has none; elsewhere whichever is nearer.
LEANS: dict[str, Lean] = {
    "Patient.birth_date": "birth",
    "Operation.date": "past",
    "Uveitis.last_active": "past",
    "DropBefore.since": "past",
    "Findings.date": "past",
}


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
