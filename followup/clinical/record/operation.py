"""One operation on one eye on one day, as the surgeon tells it from opening to closing."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from followup.clinical.record.base import Day, Eye, MedicineId, RecordPart, Short, Text
from followup.said import say
from followup.timing.calendar_entries import ClockTime

Procedure = Literal[
    "phacoemulsification",
    "manual small-incision",
    "extracapsular",
    "intracapsular",
    "lens aspiration",
    "secondary lens",
    "lens exchange",
]
WHOLE_NUCLEUS: tuple[Procedure, ...] = ("extracapsular", "intracapsular")
LEAST_FOR_NUCLEUS = 4.0
"""Millimetres: no whole nucleus passes a smaller cut (common practice, no source)."""
LONGEST_MINUTES = 720
"""Minutes: a longer operation is a slip of the pen."""
Widening = Literal["drops", "stretched", "hooks", "ring"]
Millimetres = Annotated[float, Field(ge=0.5, le=15)]


class SteroidGiven(RecordPart):
    """A steroid put in or beside the eye at the end. ``mg`` is the whole amount given."""

    medicine: MedicineId
    mg: Annotated[float, Field(gt=0, le=80)] | None = None
    place: Literal[
        "chamber", "behind the iris", "vitreous", "under the conjunctiva", "sub-Tenon", "canaliculus"
    ]
    form: Literal["solution", "crystals", "slow-release"] | None = None
    purpose: Literal["treat", "prevent", "show vitreous"] | None = None
    fate: Literal["washed out", "left"] | None = None
    dose_confirmed: bool | None = Field(None, description="asked: the unusual dose is right as it stands")
    crystals_seen_after: bool | None = None

    @model_validator(mode="after")
    def _possible(self) -> SteroidGiven:
        if self.fate == "washed out" and self.form == "slow-release":
            raise ValueError(say("a slow-release steroid can't be washed out; correct form or fate"))
        return self


class Viscoelastic(RecordPart):
    substance: Short | None = None
    removed: Literal["all", "doubtful"] | None = None


class Choices(RecordPart):
    """The surgeon's own answers where the protocol asks him to pick."""

    responder_course: Literal["A", "B"] | None = None
    depot_course: Literal["taper", "no drops"] | None = None
    steroid_in_responder: Literal["drops as drafted", "no drops"] | None = None
    cycloplegic: Literal["give", "do not give"] | None = None
    nsaid: Literal["give", "do not give"] | None = None
    steroid_with_inhibitor: Literal["give", "do not give"] | None = None


class CautionAnswer(RecordPart):
    """The surgeon's answer to one caution about one course: give the medicine all the same, or do not.

    ``course`` is the plan's key of the course ("right:steroid"). An answer without it counts only
    where no more than one course can be meant. ``medicine`` is what the question named: the answer
    is none about another product. A caution that forbids can't be answered with "give"; "given" is
    said of what was put into the eye at surgery, with what is done about it.
    """

    caution: Short
    course: Short | None = None
    medicine: MedicineId | None = None
    decision: Literal["give", "do not give", "given"]
    why: Text | None = None

    @model_validator(mode="after")
    def _given_says_what_is_done(self) -> CautionAnswer:
        if self.decision == "given" and not self.why:
            raise ValueError(say("why is missing: say what is done about a medicine that was given"))
        return self


class Product(RecordPart):
    """The surgeon's own choice of product for one kind of course, instead of the protocol's usual one.

    ``course`` narrows it to one course of that kind by its key, such as "right:steroid-weaker".
    """

    role: Literal["steroid", "nsaid", "antibiotic", "cycloplegic", "antiviral"]
    medicine: MedicineId
    course: Short | None = None


class NoSteroidDrop(RecordPart):
    """The decision that an operated eye gets no steroid drop: why, what is done instead, and by whom."""

    why: Text = Field(min_length=3)
    decided_by: Short


class Released(RecordPart):
    """A course that was held at discharge and let go on a later day; it begins on that day."""

    course: Literal["steroid", "nsaid", "antibiotic", "cycloplegic", "antiviral", "pressure"]
    on: Day


class DropBefore(RecordPart):
    """A drop that was given because of the operation, before it; it ends with it."""

    medicine: MedicineId
    count_a_day: Annotated[int, Field(ge=1, le=24)] | None = None
    since: Day | None = None


class Operation(RecordPart):
    """``eye`` is typed, ``eye_drawn`` is pointed at on the mirror drawing; both must agree."""

    eye: Eye
    eye_drawn: Eye
    date: Day
    start: ClockTime | None = None
    end: ClockTime | None = None
    surgeon: Short | None = None
    anaesthesia: Literal["drops", "sub-Tenon", "peribulbar", "retrobulbar", "general", "other"] | None = None
    pad: bool | None = Field(None, description="pad or opaque shield left on until the next morning")
    drops_from_today: bool | None = Field(None, description="the surgeon wants drops on the day itself")
    procedure: Procedure
    cut_mm: Millimetres | None = None
    hydrated: bool | None = None
    stitches: Annotated[int, Field(ge=0, le=20)] | None = None
    stitches_absorbable: bool | None = None
    wound_burn: bool | None = None
    watertight: bool | None = None
    chamber: Literal["normal", "shallow", "very shallow"] | None = None
    pressure_from_behind: bool | None = None
    iridotomy: Literal["none", "open", "not open"] | None = None
    iridotomy_by: Literal["laser", "surgery"] | None = None
    pupil_before_mm: Annotated[float, Field(ge=0.5, le=10)] | None = None
    pupil_after_mm: Annotated[float, Field(ge=0.5, le=10)] | None = None
    pupil_widened: tuple[Literal["drops", "stretched", "hooks", "ring"], ...] = Field(
        default=(), max_length=4
    )
    synechiae_broken: bool | None = None
    synechiae_degrees: Annotated[int, Field(ge=1, le=360)] | None = Field(
        None, description="how much of the pupil's rim was stuck, in degrees"
    )
    membrane_peeled: bool | None = None
    bleeding: bool | None = None
    fibrin: bool | None = None
    capsule_stain: bool | None = None
    capsulorhexis_mm: Annotated[float, Field(ge=1, le=10)] | None = None
    capsulorhexis_whole: bool | None = None
    phaco_energy: Annotated[float, Field(ge=0, le=500)] | None = None
    viscoelastic: Viscoelastic = Viscoelastic()
    capsule_torn: bool | None = None
    capsule_whole: bool | None = None
    vitreous_lost: bool | None = None
    vitrectomy: bool | None = None
    zonules_weak: bool | None = None
    lens_left: Literal["none", "chamber", "vitreous"] | None = None
    lens_left_hard: bool | None = None
    lens: Literal["bag", "sulcus", "front chamber", "iris", "sclera", "none"] | None = Field(
        None, description="where the lens sits; iris and sclera: fixed or sewn to it"
    )
    lens_power: Annotated[float, Field(ge=-30, le=60)] | None = Field(None, description="dioptres")
    target_refraction: Annotated[float, Field(ge=-10, le=10)] | None = Field(
        None, description="dioptres; the spherical equivalent that was aimed at, 0 for the distance"
    )
    toric_axis: Annotated[int, Field(ge=0, le=180)] | None = Field(
        None, description="degrees; a toric lens and the axis on which it was left"
    )
    tension_ring: bool | None = Field(None, description="a ring in the capsular bag, not the pupil's")
    iris_torn: bool | None = None
    cornea_touched: bool | None = None
    epithelium_scraped: bool | None = None
    descemet_loose: bool | None = None
    bandage_lens: bool | None = None
    air_or_gas: Literal["none", "air", "gas"] | None = None
    steroid: tuple[SteroidGiven, ...] = Field(default=(), max_length=4)
    antibiotic_in_chamber: bool | None = None
    antibiotic: MedicineId | None = None
    antibiotic_elsewhere: (
        Literal["under the conjunctiva", "into the vitreous", "by mouth", "into a vein"] | None
    ) = None
    preservative_free: bool | None = Field(None, description="single doses without preservative are wanted")
    drops_before: tuple[DropBefore, ...] = Field(default=(), max_length=6)
    combined_with: tuple[Literal["glaucoma surgery", "corneal graft", "retinal vitrectomy"], ...] = Field(
        default=(), max_length=3
    )
    halted: bool | None = Field(None, description="stopped before its end")
    choices: Choices = Choices()
    products: tuple[Product, ...] = Field(default=(), max_length=5)
    no_steroid_drop: NoSteroidDrop | None = None
    answers: tuple[CautionAnswer, ...] = Field(default=(), max_length=60)
    released: tuple[Released, ...] = Field(default=(), max_length=12)
    free_text: Text | None = None

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> Operation:
        if self.eye != self.eye_drawn:
            raise ValueError(
                say(
                    "eye says {eye} but eye_drawn says {drawn}; confirm the eye",
                    eye=self.eye,
                    drawn=self.eye_drawn,
                )
            )
        if self.synechiae_degrees is not None and self.synechiae_broken is False:
            raise ValueError(say("synechiae_degrees is told but synechiae_broken is false; correct one"))
        if self.iridotomy_by is not None and self.iridotomy == "none":
            raise ValueError(say("iridotomy_by is told but iridotomy says none; correct one"))
        if self.capsule_torn and self.capsule_whole:
            raise ValueError(say("capsule_torn and capsule_whole can't both be true; correct one"))
        for field, names in (
            ("products", [f"{one.role} {one.course or ''}".strip() for one in self.products]),
            ("answers", [f"{one.caution} {one.course or ''}".strip() for one in self.answers]),
            ("released", [release.course for release in self.released]),
        ):
            if double := next((name for i, name in enumerate(names) if name in names[:i]), None):
                raise ValueError(say("{field} names {double} twice; keep one", field=field, double=double))
        if any(release.on < self.date for release in self.released):
            raise ValueError(say("released has a day before the operation; correct it"))
        if self.stitches_absorbable is not None and self.stitches == 0:
            raise ValueError(say("stitches_absorbable is told but stitches is 0; correct one"))
        if self.toric_axis is not None and self.lens == "none":
            raise ValueError(say("toric_axis is told but lens says none; correct one"))
        if any(drop.since is not None and drop.since > self.date for drop in self.drops_before):
            raise ValueError(say("drops_before has a day after the operation; correct it"))
        if self.start and self.end and self.start == self.end:
            raise ValueError(say("start and end are the same; correct one"))
        if (self.minutes or 0) > LONGEST_MINUTES:
            raise ValueError(
                say(
                    "start and end make an operation of {minutes} hours; correct one",
                    minutes=(self.minutes or 0) // 60,
                )
            )
        if self.procedure in WHOLE_NUCLEUS and self.cut_mm is not None and self.cut_mm < LEAST_FOR_NUCLEUS:
            raise ValueError(
                say(
                    "cut_mm is {cut_mm}, too small for a lens taken out {procedure}; correct cut_mm "
                    "or procedure",
                    cut_mm=format(self.cut_mm, "g"),
                    procedure=self.procedure,
                )
            )
        if self.procedure == "intracapsular" and self.lens == "bag":
            raise ValueError(say("intracapsular surgery leaves no bag, but lens says bag; correct one"))
        if self.lens_left_hard and self.lens_left == "none":
            raise ValueError(say("lens_left_hard is true but lens_left says none; correct one"))
        if self.antibiotic and self.antibiotic_in_chamber is False:
            raise ValueError(say("antibiotic is named but antibiotic_in_chamber is false; correct one"))
        return self

    @property
    def minutes(self) -> int | None:
        """Length of the operation in minutes; an end before the start is after midnight."""
        if not self.start or not self.end:
            return None
        start, end = (int(t[:2]) * 60 + int(t[3:]) for t in (self.start, self.end))
        return (end - start) % 1440
