"""What stands in an export without names: a dictionary of its columns, and what it does not promise."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from followup.exchange.pseudonyms.fields import fields_out

_PATIENT = "the key of the patient in this export: made by chance, kept nowhere, another in the next export"
_DAY = "a day, moved as all days of this patient"
# What each line holds beside the record; the order is that of the files.
COLUMNS: Mapping[str, Mapping[str, str]] = {
    "patients": {
        "patient": _PATIENT,
        "age": 'whole years at the first operation of the record; "90 or more" from 90 on',
        "small_group": "fewer than five patients here have this sex, age in bands of five years and number "
        "of operated eyes",
        "standing": "followed, or why not any more",
        "standing_since": _DAY,
        "record": "the newest operative record; its fields stand below",
    },
    "courses": {
        "patient": _PATIENT,
        "plan": "version of the signed plan, from 1",
        "plan_status": "active, completed or revoked (replaced by a newer version)",
        "eye": "right, left, or null by mouth",
        "role": "what the medicine is for",
        "medicine": "its generic name in the formulary; another medicine where it is of no list",
        "state": "whether the course is given",
        "from": f"first day of a step: {_DAY}",
        "days": "days of the step",
        "times_a_day": "how often a day in this step",
    },
    "visits": {
        "patient": _PATIENT,
        "plan": "version of the plan that asks for the visit",
        "visit": "its number in that plan",
        "day": f"the day it is planned for: {_DAY}",
        "window_from": f"the first day that would do: {_DAY}",
        "window_to": f"the last day that would do: {_DAY}",
        "tier": "pressure risk of the visit: A high, B middle, C low",
        "status": "in the words of FHIR R4 Appointment.status",
        "seen": f"the day on which the patient was here, else null: {_DAY}",
        "for": "the looks that the visit is for, as eye and kind",
        "done": "those of them that were done",
    },
    "contacts": {
        "patient": _PATIENT,
        "day": f"when somebody tried to reach the patient: {_DAY}",
        "way": "by what",
        "outcome": "what came of it",
        "promised": f"the day that was promised, else null: {_DAY}",
    },
}
_HOW = {
    "as it is": "as it is",
    "day moved": _DAY,
    "decimal": "visual acuity as a decimal figure; 0 is below any chart",
    "medicine of the list": "generic name in the formulary; another medicine where it is of no list",
    "left out": "left out",
}


@dataclass(frozen=True)
class Measured:
    """What was counted in this very export."""

    patients: int
    in_small_groups: int
    alone_by_intervals: int
    seen_of_late: int


def dictionary(measured: Measured, meanings: Mapping[str, str]) -> dict[str, object]:
    """Every column with its meaning; ``meanings`` of the record's fields by "Model.field"."""
    return {
        "files": {f"{name}.jsonl": columns for name, columns in COLUMNS.items()},
        "record of patients.jsonl": {
            one.path: {"meaning": meanings.get(one.of, ""), "how": _HOW[one.how]} for one in fields_out()
        },
        "measured in this export": {
            "patients": measured.patients,
            "patients in groups of fewer than five": measured.in_small_groups,
            "patients with days in between that nobody else here has": measured.alone_by_intervals,
            "patients whose last day told here lies a week or less before the export": measured.seen_of_late,
        },
    }


def read_me(measured: Measured) -> str:
    """What the export is, what was taken out, and what it does not promise."""
    return _TEXT.format(
        patients=measured.patients,
        alone=measured.alone_by_intervals,
        small=measured.in_small_groups,
        late=measured.seen_of_late,
    )


_TEXT = """\
Patients of a clinic without their names, for research or for help. This is NOT anonymous: read the last part.

Each file is JSON Lines: one JSON object a line, in UTF-8. dictionary.json says what each value means, and of
every field of the operative record whether it stands here as it is, moved, or not at all.

  patients.jsonl   a patient: age, sex, both eyes' history, operations, looks
  courses.jsonl    the steps of the courses of signed plans
  visits.jsonl     planned and kept visits
  contacts.jsonl   attempts to reach somebody

WHAT IS NOT IN IT

  Names, codes, telephone numbers, places, languages, the hours of the way, staff, birth dates and years,
  hours of the day, and whatever was typed freely: reasons, notes, told texts, words for what no list has. A
  patient of 90 years or more is "90 or more".

DAYS

  All days of one patient are moved by the same number of days, found by chance and kept nowhere, so that the
  first operation lies between 2200 and 2299. The days in between are true; weekdays, seasons and years are
  not. The days of two patients can't be compared.

WHAT IT DOES NOT PROMISE

  - Whoever has the clinic's own dates finds patients again by the days in between: {alone} of the {patients}
    patients here have days between operations, looks, visits and calls that nobody else here has.
  - Rare values (a rare disease, an unusual lens, a course of events) may tell who somebody is. {small} of the
    {patients} patients stand in groups of fewer than five by sex, age and operated eyes; they are marked with
    small_group.
  - A clinic that is closed on one weekday leaves a pattern of seven days in many visits: from it one may
    guess how a patient's days were moved within the week. Longer closures may tell the season.
  - Whoever knows on which day this was made may take the last day on which something happened to a patient
    for it, or what lies between that and the next visit ahead, and so find the true days again: for {late} of
    the {patients} patients here they would be a week off at most. This file does not say when it was made;
    the later it is handed on, and the fewer people in it are still being seen, the less that helps.
  - The keys of two exports have nothing in common, and still the same patient can be found in both by the
    same days in between and the same values.
  So give it only to whoever may see such records, say what it is for, and do not publish it.
"""
