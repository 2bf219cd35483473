"""Who the patient is, what the drops and the journeys must fit, and both eyes' history."""

from __future__ import annotations

from typing import Annotated, Any, Literal, get_args

from pydantic import Field, StringConstraints, model_validator

from followup.clinical.record.base import (
    NOT_RECORDED,
    Day,
    MedicineId,
    Name,
    RecordPart,
    Short,
    Text,
)
from followup.said import say
from followup.timing.calendar_entries import ClockTime

LanguageTag = Annotated[str, StringConstraints(pattern=r"^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$")]
Telephone = Annotated[str, StringConstraints(pattern=r"^\+?[0-9][0-9 ().-]{3,24}$")]


class Phone(RecordPart):
    number: Telephone
    whose: Literal["own", "carer", "neighbour"] = "own"


class Travel(RecordPart):
    """The way home: ``hours`` one way, door to door."""

    hours: Annotated[float, Field(ge=0, le=100)] | None = None
    how: Short | None = None


class DropGiver(RecordPart):
    """Who puts in the drops. ``can_squeeze`` and ``forgets`` are the helper's; the patient has his own."""

    who: Literal["self", "relative", "neighbour", "health worker", "nobody"]
    name: Name | None = None
    can_squeeze: bool | None = None
    forgets: bool | None = None


class WakingDay(RecordPart):
    """Rising and bedtime by the clock; a bedtime before rising is after midnight."""

    rise: ClockTime = "06:00"
    bedtime: ClockTime = "22:00"


AllergyTo = Literal[
    "sulfonamide",
    "sulphite",
    "benzalkonium",
    "aspirin",
    "penicillin",
    "cephalosporin",
    "quinolone",
    "medicine",
    "other",
]
ReactionTold = Literal["rash", "severe", "wheeze", "other", "not known"]


class Allergy(RecordPart):
    """``severe`` stands for blisters, swelling or collapse. ``medicine`` is a formulary id.

    "other" is whatever no other word fits, told in ``described`` ("strawberries").
    """

    to: AllergyTo
    reaction: ReactionTold = "not known"
    medicine: MedicineId | None = None
    described: Short | None = None

    @model_validator(mode="after")
    def _is_named(self) -> Allergy:
        if (self.to == "medicine") != (self.medicine is not None):
            raise ValueError(say('give "medicine" exactly when "to" is "medicine"'))
        if self.to == "other" and self.described is None:
            raise ValueError(say('"other" needs described: what is the patient allergic to?'))
        return self


class Conditions(RecordPart):
    """The patient's other illnesses; absent means not recorded, never "no"."""

    diabetes: Literal["no", "without retinopathy", "with retinopathy", "retinopathy not known"] | None = None
    asthma: bool | None = None
    severe_airway_disease: bool | None = None
    nasal_polyps: bool | None = None
    tolerates_aspirin: bool | None = None
    slow_heart: bool | None = None
    heart_block: bool | None = None
    heart_failure: bool | None = None
    mao_inhibitor: bool | None = None
    cyp3a4_inhibitor: Literal["no", "ritonavir or cobicistat", "other strong inhibitor"] | None = None
    kidney_disease: bool | None = None
    liver_disease: bool | None = None
    sickle_cell: bool | None = None
    blood_thinner: bool | None = None
    rheumatoid: bool | None = None
    sjogren: bool | None = None
    tuberculosis: bool | None = None
    syphilis: bool | None = None
    immunosuppressed: bool | None = None
    urine_retention: bool | None = None
    pregnancy: Literal["no", "first trimester", "second trimester", "third trimester"] | None = None
    breast_feeding: bool | None = None


UveitisKind = Literal[
    "anterior",
    "intermediate",
    "posterior",
    "panuveitis",
    "Fuchs heterochromic",
    "HLA-B27",
    "juvenile idiopathic arthritis",
    "sarcoid",
    "Behcet",
    "herpetic",
    "toxoplasma",
    "tuberculous",
    "syphilitic",
    "lens-induced",
    "other",
]
_PLACES = ("anterior", "intermediate", "posterior", "panuveitis")
UVEITIS_KINDS: tuple[str, ...] = get_args(UveitisKind)


class Uveitis(RecordPart):
    """Old or present inflammation inside the eye. Its presence in the record says "uveitic".

    ``kind_words`` says what no word of ``kind`` does.
    """

    kind: UveitisKind | None = None
    kind_words: Short | None = None
    last_active: Day | None = None
    never_quiet: bool | None = None
    herpetic: bool | None = None
    antiviral_cover: bool | None = None
    infection_excluded: bool | None = None
    infection_treated_with: Short | None = None
    steroid_despite_infection: Text | None = Field(
        None, min_length=3, description="why steroid is given though infection is not excluded"
    )

    @model_validator(mode="before")
    @classmethod
    def _kind_told_in_words(cls, data: Any) -> Any:
        """A kind that is none of the list is kept in words: nothing is guessed from it."""
        kind = data.get("kind") if isinstance(data, dict) else None
        if (
            not isinstance(kind, str)
            or kind.strip() in (*UVEITIS_KINDS, NOT_RECORDED)
            or data.get("kind_words")
        ):
            return data
        place, _, more = kind.strip().partition(",")
        if place in _PLACES and more.strip():
            return {**data, "kind": place, "kind_words": more.strip()}
        return {**data, "kind": "other", "kind_words": kind}

    @model_validator(mode="after")
    def _other_is_told(self) -> Uveitis:
        if self.kind == "other" and self.kind_words is None:
            raise ValueError(say('kind "other" needs kind_words: which uveitis is it?'))
        if self.kind == "herpetic" and self.herpetic is False:
            raise ValueError(say('kind says "herpetic" but herpetic is false; correct one'))
        return self


class AntiviralTreatment(RecordPart):
    """Treatment of active herpes, as ordered: a medicine of the formulary, times a day, days."""

    medicine: MedicineId
    count_a_day: Annotated[int, Field(ge=1, le=9)]
    days: Annotated[int, Field(ge=1, le=90)]


class HerpeticKeratitis(RecordPart):
    year: Annotated[int, Field(ge=1900, le=2200)] | None = None
    active_epithelial_disease: bool | None = None
    antiviral_cover: bool | None = None
    treatment: AntiviralTreatment | None = None


class AfterEarlierOperation(RecordPart):
    """What happened to this eye after an operation of its own, before this record."""

    pressure_rise_on_steroid: bool | None = None
    highest_pressure: Annotated[float, Field(ge=0, le=90)] | None = None
    macular_oedema: bool | None = None
    rebound: bool | None = None
    retinal_detachment: bool | None = None
    note: Text | None = None


class PressureRise(RecordPart):
    """An earlier rise of the pressure on steroid: how high (mmHg), on which medicine, in which year."""

    mmhg: Annotated[float, Field(ge=0, le=90)] | None = None
    medicine: Short | None = None
    year: Annotated[int, Field(ge=1900, le=2200)] | None = None


class EyeHistory(RecordPart):
    """One eye before surgery. Pressure in mmHg, axial length in mm."""

    uveitis: Uveitis | None = None
    glaucoma: bool | None = None
    damaged_nerve: bool | None = None
    steroid_responder: bool | None = None
    rise_on_steroid: PressureRise | None = None
    axial_length_mm: Annotated[float, Field(ge=14, le=40)] | None = None
    retinal_detachment: bool | None = None
    vein_occlusion: bool | None = None
    epiretinal_membrane: bool | None = None
    macular_oedema: bool | None = None
    weak_endothelium: bool | None = None
    corneal_graft: bool | None = None
    graft_care: Text | None = Field(None, description="who looks after the graft, and which steroid goes on")
    corneal_scar: bool | None = None
    herpetic_keratitis: HerpeticKeratitis | None = None
    corneal_feeling: Literal["normal", "reduced", "absent"] | None = None
    surface_disease: Literal["none", "mild", "severe dry eye", "other"] | None = None
    pseudoexfoliation: bool | None = None
    only_seeing: bool | None = None
    pressure_before: Annotated[float, Field(ge=0, le=90)] | None = None
    vision_before: Short | None = None
    after_earlier_operation: AfterEarlierOperation | None = None

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> EyeHistory:
        if self.rise_on_steroid is not None and self.steroid_responder is False:
            raise ValueError(say("rise_on_steroid tells a rise but steroid_responder is false; correct one"))
        return self


class Eyes(RecordPart):
    right: EyeHistory = EyeHistory()
    left: EyeHistory = EyeHistory()


class Patient(RecordPart):
    """The person. Give ``birth_date`` or, where the day is not known, ``birth_year``."""

    code: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9-]{0,23}$")]
    name: Name
    name_latin: Name | None = Field(
        None, description="the name in Latin letters, printed where no font has the script of ``name``"
    )
    birth_date: Day | None = None
    birth_year: Annotated[int, Field(ge=1890, le=2200)] | None = None
    sex: Literal["female", "male", "other"] | None = None
    speaks: tuple[LanguageTag, ...] = Field(default=(), max_length=8)
    language: LanguageTag | None = Field(None, description="the language the sheet is printed in")
    second_language: LanguageTag | None = None
    telephones: tuple[Phone, ...] = Field(default=(), max_length=10)
    travel: Travel = Travel()
    lives_alone: bool | None = None
    drops_by: DropGiver | None = None
    help_arranged: Literal["helper", "aid", "stay"] | None = None
    can_squeeze: bool | None = None
    forgets: bool | None = Field(None, description="can't be relied on to remember the drops")
    can_read: bool | None = None
    waking: WakingDay = WakingDay()
    allergies: tuple[Allergy, ...] = Field(default=(), max_length=40)
    no_other_allergy: bool | None = Field(None, description="asked: no allergy but those of the list")
    allergy_text: Text | None = None
    sulphur_is_neither: bool | None = Field(
        None, description="asked: the sulphur allergy of the free text is neither sulfonamide nor sulphite"
    )
    relative_pressure: bool | None = Field(
        None, description="a parent, brother, sister or child with glaucoma or a rise on steroid"
    )
    conditions: Conditions = Conditions()
    eyes: Eyes = Eyes()

    @model_validator(mode="after")
    def _age_is_known(self) -> Patient:
        if self.birth_date is None and self.birth_year is None:
            raise ValueError(say("give birth_date (YYYY-MM-DD) or birth_year"))
        if self.birth_date and self.birth_year and self.birth_date.year != self.birth_year:
            raise ValueError(say("birth_date and birth_year differ; give one"))
        return self
