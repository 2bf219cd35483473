"""The states that a sentence for the patient may hang on: each is so, or is not so, on one day.

A closed vocabulary: ``aftercare.toml`` names states, here stands what each of them is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

from followup.clinical.careplan import CarePlan, Course
from followup.clinical.going_on import last_day_told
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.record import Operation, Record
from followup.clinical.record.ages import years_old
from followup.clinical.record.patient import EyeHistory
from followup.clinical.statuses import CAME


@dataclass(frozen=True)
class EyeOnDay:
    """One operated eye on one day, with the plan and the record of its patient."""

    plan: CarePlan
    record: Record
    formulary: Mapping[str, Medicine]
    day: date
    operation: Operation

    @property
    def eye(self) -> EyeHistory:
        return (
            self.record.patient.eyes.right if self.operation.eye == "right" else self.record.patient.eyes.left
        )

    def courses(self, *roles: str, states: tuple[str, ...] = ("active",)) -> list[Course]:
        """The courses in these states that are not over on the day; of these roles, where any is named."""
        return [
            course
            for course in self.plan.courses
            if course.state in states and (not roles or course.role in roles) and not self._is_over(course)
        ]

    def _is_over(self, course: Course) -> bool:
        if course.from_before and not course.steps:
            return True
        last = last_day_told(course, self.record)
        return last is not None and last < self.day

    def names(self, sentence: str) -> bool:
        """Whether a caution of the plan asks for this sentence, for this eye or for the patient."""
        eyes = (None, self.operation.eye)
        return any(c.sheet == sentence and c.eye in eyes for c in self.plan.cautions)

    def looked(self, kind: str) -> bool:
        """Whether the look of this kind at this eye has taken place by the day."""
        key = f"{self.operation.eye}:{kind}"
        served = [n for n in self.plan.needs if n.kind == kind and n.eye == self.operation.eye]
        done = any(n.state == "served" and n.served_on and n.served_on <= self.day for n in served)
        return done or any(
            key in trip.serves and trip.status in CAME and trip.date <= self.day for trip in self.plan.trips
        )

    def may_be_aged(self, least: int, most: int) -> bool:
        """Whether the patient may be of these years of age on the day; a year of birth leaves two open."""
        patient = self.record.patient
        if patient.birth_date is None:
            years = self.day.year - (patient.birth_year or self.day.year)
            return least <= years and years - 1 <= most
        return least <= years_old(patient.birth_date, self.day) <= most


@dataclass(frozen=True)
class OfPatient:
    """A state of the whole patient. ``about`` says it in words."""

    about: str
    holds: Callable[[EyeOnDay], bool]


@dataclass(frozen=True)
class OfEye(OfPatient):
    """A state of the operated eye."""


StateName = Literal[
    "drops",
    "no drops",
    "steroid drops",
    "no steroid drops",
    "steroid tablets",
    "drops that widen the pupil",
    "drops with sulphite",
    "visits to come",
    "gas in the eye",
    "bandage lens",
    "pad",
    "only seeing eye",
    "herpes",
    "nobody puts in the drops",
    "hands too weak",
    "blood thinner",
    "allergy",
    "pregnancy not told",
]


def _drops(case: EyeOnDay) -> bool:
    return any(course.eye for course in case.courses())


def _steroid_drops(case: EyeOnDay) -> bool:
    return any(c.eye == case.operation.eye for c in case.courses("steroid", states=("active", "held")))


def _sulphite(case: EyeOnDay) -> bool:
    found = (case.formulary.get(course.medicine) for course in case.courses())
    return any(medicine is not None and "sulphite" in medicine.excipients for medicine in found)


def _visits(case: EyeOnDay) -> bool:
    return bool(case.plan.to_come(case.day))


def _nobody(case: EyeOnDay) -> bool:
    patient = case.record.patient
    return patient.drops_by is not None and patient.drops_by.who == "nobody" and patient.help_arranged is None


def _weak_hands(case: EyeOnDay) -> bool:
    patient = case.record.patient
    own = patient.drops_by is None or patient.drops_by.who in ("self", "nobody")
    helper = patient.drops_by is not None and patient.drops_by.can_squeeze is False
    return (helper or (own and patient.can_squeeze is False)) and patient.help_arranged is None


def _herpes(case: EyeOnDay) -> bool:
    uveitis = case.eye.uveitis
    inside = uveitis is not None and (uveitis.herpetic is True or uveitis.kind == "herpetic")
    return case.eye.herpetic_keratitis is not None or inside


def _allergy(case: EyeOnDay) -> bool:
    patient = case.record.patient
    return bool(patient.allergies or (patient.allergy_text or "").strip())


STATES: dict[str, OfPatient] = {
    "drops": OfPatient("drops are used", _drops),
    "no drops": OfPatient("no drops are used", lambda case: not _drops(case)),
    "steroid drops": OfEye("the eye has steroid drops", _steroid_drops),
    "no steroid drops": OfEye("the eye has no steroid drops", lambda case: not _steroid_drops(case)),
    "steroid tablets": OfPatient(
        "steroid tablets are taken",
        lambda case: bool(case.courses("steroid tablet", states=("active", "held"))),
    ),
    "drops that widen the pupil": OfPatient(
        "a drop that widens the pupil is used", lambda case: bool(case.courses("cycloplegic"))
    ),
    "drops with sulphite": OfPatient("a drop with sulphite is used", _sulphite),
    "visits to come": OfPatient("a visit is still to come", _visits),
    "gas in the eye": OfEye("gas was left in the eye", lambda case: case.operation.air_or_gas == "gas"),
    "bandage lens": OfEye(
        "a bandage lens was put on the eye", lambda case: case.operation.bandage_lens is True
    ),
    "pad": OfEye("a pad or opaque shield is left on the eye", lambda case: case.operation.pad is True),
    "only seeing eye": OfEye("it is the only seeing eye", lambda case: case.eye.only_seeing is True),
    "herpes": OfEye("the eye has had a herpes inflammation", _herpes),
    "nobody puts in the drops": OfPatient("nobody is there to put in the drops", _nobody),
    "hands too weak": OfPatient("whoever puts in the drops can't squeeze a bottle", _weak_hands),
    "blood thinner": OfPatient(
        "a blood thinner is taken", lambda case: case.record.patient.conditions.blood_thinner is True
    ),
    "allergy": OfPatient("an allergy is recorded", _allergy),
    "pregnancy not told": OfPatient(
        "no pregnancy is recorded",
        lambda case: case.record.patient.conditions.pregnancy in (None, "no"),
    ),
}
assert tuple(STATES) == get_args(StateName)
