"""The told cases hold what was told and the routine answers of an operation, and nothing that was guessed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pytest

from followup.demo.cast import case_data, case_names

# Who somebody is has to be invented for a person who never was.
WHO = {"code", "name", "birth_date", "birth_year", "sex", "language", "telephones"}
# An uneventful operation needs no word for these.
ROUTINE: dict[str, Any] = {
    "pad": True,
    "chamber": "normal",
    "pressure_from_behind": False,
    "synechiae_broken": False,
    "membrane_peeled": False,
    "iris_torn": False,
    "capsule_torn": False,
    "vitreous_lost": False,
    "zonules_weak": False,
    "lens_left": "none",
    "cornea_touched": False,
    "lens": "bag",
    "stitches": 0,
    "watertight": True,
}
EACH = {"eye", "eye_drawn", "date", "procedure"}
# Where the case says routine: the cut, the viscoelastic and the antibiotic are told by that word.
SAID_ROUTINE = {"cut_mm", "viscoelastic.removed", "antibiotic_in_chamber"}

TOLD: Mapping[str, set[str]] = {
    "wanjiru": {*SAID_ROUTINE, "patient.drops_by.who"},
    "tom": {*SAID_ROUTINE, "patient.conditions.diabetes", "patient.allergies", "patient.travel.how"},
    "amina": {
        "patient.eyes.left.uveitis.last_active",
        "patient.travel.hours",
        "patient.travel.how",
        "patient.can_read",
        "anaesthesia",
        "cut_mm",
        "hydrated",
        "chamber",
        "pressure_from_behind",
        "iridotomy",
        "pupil_before_mm",
        "pupil_widened",
        "synechiae_broken",
        "bleeding",
        "steroid",
        "free_text",
    },
    "peter": {
        "patient.eyes.right.uveitis.last_active",
        "pupil_widened",
        "membrane_peeled",
        "steroid",
        "in_use",
    },
    "lakshmi": SAID_ROUTINE,
    "ibrahim": {
        "patient.eyes.left.only_seeing",
        "capsule_torn",
        "vitreous_lost",
        "vitrectomy",
        "lens",
        "stitches",
        "viscoelastic.removed",
    },
    "grace": {
        *SAID_ROUTINE,
        "patient.conditions.asthma",
        "patient.eyes.right.glaucoma",
        "patient.eyes.right.pressure_before",
        "patient.eyes.right.steroid_responder",
        "patient.eyes.right.rise_on_steroid.mmhg",
        "patient.eyes.right.rise_on_steroid.year",
        "in_use",
    },
    "rafiq": {
        *SAID_ROUTINE,
        "patient.eyes.left.axial_length_mm",
        "patient.waking.rise",
        "patient.waking.bedtime",
    },
    "devika": {*SAID_ROUTINE, "patient.eyes.right.herpetic_keratitis.year"},
    "joao": {
        "patient.eyes.left.weak_endothelium",
        "patient.lives_alone",
        "patient.can_squeeze",
        "cut_mm",
        "stitches",
        "cornea_touched",
    },
    "fatuma": {"patient.speaks", "steroid", "choices.depot_course"},
    "li": {"free_text"},
}


def leaves(data: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(data, dict):
        for name, value in data.items():
            yield from leaves(value, f"{path}.{name}".lstrip("."))
    else:
        yield path, data


def guessed(data: dict[str, Any], told: set[str]) -> set[str]:
    """Fields of a case that are neither told, nor routine, nor who the person is."""
    found = {f"patient.{p}" for p, _ in leaves(data["patient"]) if p.split(".")[0] not in WHO}
    for operation in data["operations"]:
        found |= {p for p, value in leaves(operation) if p not in EACH and ROUTINE.get(p) != value}
    found |= {name for name in ("in_use", "reviews", "trips") if data.get(name)}
    return found - told


@pytest.mark.parametrize("name", case_names())
def test_a_told_case_holds_nothing_that_was_not_told(name):
    assert guessed(case_data(name), set(TOLD[name.partition("-")[2]])) == set()


@pytest.mark.parametrize("name", case_names())
def test_a_told_case_holds_all_that_was_told(name):
    data = case_data(name)
    held = {f"patient.{p}" for p, _ in leaves(data["patient"])}
    held |= {p for operation in data["operations"] for p, _ in leaves(operation)} | data.keys()
    assert set(TOLD[name.partition("-")[2]]) <= held


def test_a_guess_would_be_found_out():
    data = case_data("02-tom")
    data["patient"]["can_read"] = True
    data["operations"][0] |= {"anaesthesia": "drops", "zonules_weak": True}
    assert guessed(data, set(TOLD["tom"])) == {"patient.can_read", "anaesthesia", "zonules_weak"}
