"""Invented patients with invented operations: most of them routine, some of every kind of trouble.

Everything is drawn from the random generator handed in, so one seed and one day make one clinic.
"""

from __future__ import annotations

from datetime import date
from random import Random
from typing import Any

from followup.demo.clinic import SURGEON

# Given names and family names are mixed at random; likeness to anyone is chance.
NAMES: dict[str, tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]] = {
    "en": (
        ("Marian", "Edith", "Joan", "Hazel", "Doreen", "Olive"),
        ("Leonard", "Walter", "Cedric", "Arthur", "Gilbert", "Ralph"),
        ("Thistlewood", "Penhallow", "Marlbrook", "Ashgrove", "Underhay", "Coldwell"),
    ),
    "bn": (
        ("Rokeya", "Shefali", "Jahanara", "Minoti", "Bilkis"),
        ("Abdul", "Nikhil", "Harun", "Sudhir", "Motaleb"),
        ("Mridhapur", "Sarkargaon", "Talukdihi", "Bhuiyanpara"),
    ),
    "ar": (
        ("Samira", "Widad", "Najat", "Huda"),
        ("Yahya", "Munir", "Salim", "Jaber"),
        ("al-Wadiri", "al-Nahriya", "al-Tallani", "al-Zayturi"),
    ),
    "hi": (
        ("Savitri", "Kamla", "Urmila"),
        ("Ramdas", "Mohanlal", "Girish"),
        ("Chandipuri", "Nadiwal", "Belgarhia"),
    ),
    "sw": (
        ("Zawadi", "Neema", "Rehema"),
        ("Juma", "Baraka", "Hamisi"),
        ("Mtondoni", "Kilimba", "Mashariki"),
    ),
}  # fmt: skip
_LANGUAGES = ("en",) * 5 + ("bn",) * 3 + ("ar",) * 2 + ("hi", "sw")
_GIVERS = ("self", "self", "self", "relative", "relative", "relative", "health worker", "neighbour")
_TRAVEL = (
    ("walks", 0.3),
    ("bus", 0.7),
    ("bus", 1.5),
    ("car", 0.5),
    ("rickshaw", 1.0),
    ("train and bus", 3.5),
)


def invent(rng: Random, number: int, operated: date) -> dict[str, Any]:
    """One record: the operation was on ``operated``; ``number`` makes the code."""
    eye = rng.choice(("right", "left"))
    patient = _patient(rng, number, operated)
    operation = _routine(rng, eye, operated)
    trouble = rng.choices(tuple(_WEIGHTED), weights=tuple(_WEIGHTED.values()))[0]
    trouble(rng, patient, operation)
    return {"patient": patient, "operations": [operation]}


def _patient(rng: Random, number: int, operated: date) -> dict[str, Any]:
    language = rng.choice(_LANGUAGES)
    women, men, families = NAMES[language]
    sex = rng.choice(("female", "male"))
    how, hours = rng.choice(_TRAVEL)
    born = date(operated.year - rng.randint(56, 86), rng.randint(1, 12), rng.randint(1, 28))
    return {
        "code": f"QM-{number:04d}",
        "name": f"{rng.choice(women if sex == 'female' else men)} {rng.choice(families)}",
        "birth_date": born.isoformat(),
        "sex": sex,
        "speaks": [language],
        "language": language,
        "telephones": [
            {"number": f"+44 7700 900{number % 1000:03d}", "whose": "own"},
            {"number": f"+44 20 7946 0{(number * 7) % 900 + 100:03d}", "whose": "carer"},
        ],
        "travel": {"hours": hours, "how": how},
        "drops_by": {"who": rng.choice(_GIVERS)},
        "can_squeeze": True,
        "can_read": rng.random() < 0.7,
        "waking": {"rise": rng.choice(("05:30", "06:00", "06:00", "06:30", "07:00")), "bedtime": "22:00"},
        "conditions": dict(_HEALTHY),
        "eyes": {eye: dict(_QUIET_EYE, pressure_before=rng.randint(11, 19)) for eye in ("right", "left")},
    }  # fmt: skip


_HEALTHY: dict[str, Any] = {
    "diabetes": "no",
    "asthma": False,
    "severe_airway_disease": False,
    "nasal_polyps": False,
    "tolerates_aspirin": True,
    "slow_heart": False,
    "heart_block": False,
    "heart_failure": False,
    "mao_inhibitor": False,
    "cyp3a4_inhibitor": "no",
    "kidney_disease": False,
    "liver_disease": False,
    "sickle_cell": False,
    "blood_thinner": False,
    "rheumatoid": False,
    "sjogren": False,
    "tuberculosis": False,
    "urine_retention": False,
    "pregnancy": "no",
    "breast_feeding": False,
}
_QUIET_EYE: dict[str, Any] = {
    "glaucoma": False,
    "damaged_nerve": False,
    "steroid_responder": False,
    "axial_length_mm": 23.4,
    "retinal_detachment": False,
    "vein_occlusion": False,
    "epiretinal_membrane": False,
    "macular_oedema": False,
    "weak_endothelium": False,
    "corneal_feeling": "normal",
    "surface_disease": "none",
    "pseudoexfoliation": False,
    "only_seeing": False,
}


def _routine(rng: Random, eye: str, operated: date) -> dict[str, Any]:
    start = rng.randint(8 * 60, 12 * 60)
    end = start + rng.randint(12, 28)
    return {
        "eye": eye,
        "eye_drawn": eye,
        "date": operated.isoformat(),
        "start": f"{start // 60:02d}:{start % 60:02d}",
        "end": f"{end // 60:02d}:{end % 60:02d}",
        "surgeon": SURGEON.name,
        "anaesthesia": rng.choice(("drops", "sub-Tenon")),
        "pad": True,
        "procedure": "phacoemulsification",
        "cut_mm": rng.choice((2.2, 2.4, 2.8)),
        "hydrated": True,
        "stitches": 0,
        "watertight": True,
        "chamber": "normal",
        "pressure_from_behind": False,
        "iridotomy": "none",
        "pupil_before_mm": 7,
        "pupil_after_mm": 6.5,
        "synechiae_broken": False,
        "membrane_peeled": False,
        "bleeding": False,
        "fibrin": False,
        "capsule_stain": False,
        "capsulorhexis_mm": 5.2,
        "capsulorhexis_whole": True,
        "viscoelastic": {"substance": "hyaluronate", "removed": "all"},
        "capsule_torn": False,
        "capsule_whole": True,
        "vitreous_lost": False,
        "vitrectomy": False,
        "zonules_weak": False,
        "lens_left": "none",
        "lens": "bag",
        "iris_torn": False,
        "cornea_touched": False,
        "epithelium_scraped": False,
        "descemet_loose": False,
        "bandage_lens": False,
        "air_or_gas": "none",
        "antibiotic_in_chamber": True,
    }


def _nothing(rng: Random, patient: dict[str, Any], operation: dict[str, Any]) -> None:
    """The routine case."""


def _diabetes(rng: Random, patient: dict[str, Any], operation: dict[str, Any]) -> None:
    patient["conditions"]["diabetes"] = rng.choice(("without retinopathy", "with retinopathy"))


def _glaucoma(rng: Random, patient: dict[str, Any], operation: dict[str, Any]) -> None:
    patient["eyes"][operation["eye"]].update(glaucoma=True, damaged_nerve=True, pressure_before=18)


def _long_eye(rng: Random, patient: dict[str, Any], operation: dict[str, Any]) -> None:
    patient["eyes"][operation["eye"]]["axial_length_mm"] = round(rng.uniform(26.2, 28.8), 1)


def _quiet_uveitis(rng: Random, patient: dict[str, Any], operation: dict[str, Any]) -> None:
    active = date.fromisoformat(operation["date"]).toordinal() - rng.randint(120, 400)
    patient["eyes"][operation["eye"]]["uveitis"] = {
        "kind": "anterior",
        "kind_words": "cause not found",
        "last_active": date.fromordinal(active).isoformat(),
        "never_quiet": False,
        "herpetic": False,
        "infection_excluded": True,
    }
    patient.setdefault("conditions", {}).update(tuberculosis=False, syphilis=False)
    operation.update(synechiae_broken=True, pupil_widened=["stretched"], pupil_before_mm=4)
    operation["choices"] = {"cycloplegic": "give"}


def _torn_capsule(rng: Random, patient: dict[str, Any], operation: dict[str, Any]) -> None:
    operation.update(
        capsule_torn=True, capsule_whole=False, vitreous_lost=True, vitrectomy=True, lens="sulcus", stitches=1
    )


def _small_pupil(rng: Random, patient: dict[str, Any], operation: dict[str, Any]) -> None:
    operation.update(pupil_before_mm=3.8, pupil_widened=[rng.choice(("hooks", "ring"))])


def _large_cut(rng: Random, patient: dict[str, Any], operation: dict[str, Any]) -> None:
    operation.update(procedure="manual small-incision", cut_mm=6.5, stitches=0)


def _only_eye(rng: Random, patient: dict[str, Any], operation: dict[str, Any]) -> None:
    patient["eyes"][operation["eye"]]["only_seeing"] = True
    patient["drops_by"] = {"who": "relative"}
    patient["help_arranged"] = "helper"


_WEIGHTED = {
    _nothing: 50,
    _diabetes: 14,
    _glaucoma: 7,
    _long_eye: 5,
    _quiet_uveitis: 5,
    _torn_capsule: 4,
    _small_pupil: 6,
    _large_cut: 12,
    _only_eye: 3,
}
