"""The clinic's protocol: its rules as data, read whole or refused with file and line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Annotated, Literal

from pydantic import Field, StrictBool, StrictInt, model_validator

from followup.clinical.careplan import Tier
from followup.clinical.protocol.aftercare import Aftercare
from followup.clinical.protocol.cautions import CautionSet
from followup.clinical.protocol.facts import FactDef, about_medicine
from followup.clinical.protocol.formulary import Country, Medicine, UsualFigures
from followup.clinical.protocol.parts import ProtocolPart, Reasoned
from followup.clinical.protocol.recall import RecallRules
from followup.clinical.protocol.references import (
    FieldRef,
    KindFindingRef,
    LookRef,
    MedicineRef,
    Names,
    OfOperationRef,
)
from followup.clinical.protocol.reviews import ReviewRules
from followup.clinical.protocol.rule import Rule, Taper
from followup.clinical.record.base import MedicineId, MedicineRole
from followup.clinical.record.vision import Band, acuity
from followup.said import SaidLine, SaidText


class About(ProtocolPart):
    """Name and version of the set, and the country whose labels it goes by."""

    name: str = Field(min_length=2, max_length=80)
    version: str = Field(min_length=1, max_length=40)
    country: Country
    text: SaidText = ""


class RoundSettings(Reasoned):
    """``price``: hours squared times days that a clock time new to the patient must earn."""

    price: StrictInt = Field(ge=0, le=10**9)


class LookKind(ProtocolPart):
    """A kind of review need. ``merge``: how needs of one id from several rules are joined.
    ``finding``: what a review must hold for the need to count as looked at."""

    service: str = Field(min_length=2)
    text: SaidLine
    finding: KindFindingRef | None = None
    merge: Literal["earliest", "latest", "same"] = "same"


def text_of(kind: str, kinds: Mapping[str, LookKind]) -> str:
    """What a kind of look is called, or its id where the protocol does not know it."""
    return kinds[kind].text if kind in kinds else kind


class GapLimit(ProtocolPart):
    """Of the dates with ``from_count`` drops or more a day, at most ``limit`` between two checks."""

    from_count: StrictInt = Field(ge=1)
    limit: StrictInt = Field(ge=1)


class TierSettings(Reasoned):
    gaps: tuple[GapLimit, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _counts_differ(self) -> TierSettings:
        counts = [gap.from_count for gap in self.gaps]
        if len(set(counts)) != len(counts):
            raise ValueError("two limits from the same count a day; keep one")
        return self


class LongNsaid(Reasoned):
    """An NSAID past ``after_days`` is off label: such a ``look`` every ``gap`` NSAID dates at most."""

    after_days: StrictInt = Field(ge=1)
    gap: StrictInt = Field(ge=1)
    look: LookRef


class CatchUp(Reasoned):
    """A look that was missed is caught up within so many days of the plan that notices it."""

    days: StrictInt = Field(ge=0, le=14)


class ClosedDaysSettings(Reasoned):
    """What a calendar's word on closed days holds for: these ``looks`` (ids of needs).

    Whoever is on call may look at them; or they are put off by ``put_off_days`` beyond their window at
    most, with a check of the pressure ``pressure_from_hours`` to ``pressure_to_hours`` after surgery.
    A look that must be on one certain day is never put off.
    """

    looks: tuple[str, ...]
    put_off_days: StrictInt = Field(ge=0, le=14)
    pressure_from_hours: StrictInt = Field(ge=0, le=24)
    pressure_to_hours: StrictInt = Field(ge=0, le=24)
    pressure_text: str = Field(min_length=3)


class EarlierOperation(Reasoned):
    """So long an earlier operation on the same eye counts: a torn capsule, lost vitreous, steroid."""

    days: StrictInt = Field(ge=0, le=1000)


class PadSettings(Reasoned):
    """From when on, on the morning after surgery, a pad or shield may come off."""

    off: str = Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")


class RoutineAnswer(ProtocolPart):
    """What a field of an operation holds where nothing unusual happened."""

    field: OfOperationRef
    is_: StrictBool | StrictInt | str = Field(alias="is")


class Routine(Reasoned):
    """What the form of an operation starts from; whatever differs from it stands out."""

    answers: Annotated[tuple[RoutineAnswer, ...], Names("field")]

    @property
    def typed(self) -> dict[str, str]:
        """The answers as a form holds them, by field."""
        words = {True: "yes", False: "no"}
        return {a.field: words[a.is_] if isinstance(a.is_, bool) else str(a.is_) for a in self.answers}


class LeftOut(ProtocolPart):
    """A field of the record that is no news with these answers, or within these figures; always, without."""

    field: FieldRef
    is_: tuple[StrictBool | str, ...] = Field((), alias="is")
    least: float | None = None
    most: float | None = None

    def holds(self, value: object) -> bool:
        """Whether a summary leaves this answer out."""
        if self.is_:
            return value in self.is_
        if isinstance(value, int | float):
            return (self.least is None or self.least <= value) and (self.most is None or value <= self.most)
        return self.least is None and self.most is None


class Summary(Reasoned):
    """What the one-line summary of an eye and its operation leaves out, beside the routine answers."""

    leaves_out: Annotated[tuple[LeftOut, ...], Names("field")]

    def says(self, field: str, value: object) -> bool:
        """Whether a summary tells what the record holds at ``field``."""
        return not any(one.field == field and one.holds(value) for one in self.leaves_out)


class Hourly(Reasoned):
    """ "Hourly" is one drop an hour awake, at most ``most_a_day``; "2-hourly" half of that."""

    most_a_day: StrictInt = Field(ge=8, le=16)

    def drops(self, hours_awake: int) -> int:
        """How many drops a day "hourly" means for somebody awake so long."""
        return min(self.most_a_day, hours_awake)


class FromBeforeSettings(Reasoned):
    """A medicine from before the operation is planned for so many days at least, the first one included."""

    days: StrictInt = Field(ge=1, le=100)


class AddedLooks(Reasoned):
    """A look that the surgeon adds is urgent whose window ends so many days after it begins, or sooner."""

    urgent_days: StrictInt = Field(ge=0, le=14)


class EarlyVision(Reasoned):
    """Vision seen less than so many days after surgery is early."""

    days: StrictInt = Field(ge=1, le=365)


class VisionBands(Reasoned):
    """The least vision of an eye that sees well, and of one between well and poorly."""

    good: str = Field(pattern=r"^[1-9]\d*/[1-9]\d*$")
    borderline: str = Field(pattern=r"^[1-9]\d*/[1-9]\d*$")

    @model_validator(mode="after")
    def _fall(self) -> VisionBands:
        if Fraction(self.borderline) >= Fraction(self.good):
            raise ValueError("borderline must be worse than good")
        return self

    def band(self, written: str) -> Band | None:
        """The band of an acuity such as 6/12, 20/40, 0.5 or "hand movements"; None: not understood."""
        value = acuity(written)
        if value is None:
            return None
        if value >= Fraction(self.good):
            return "good"
        return "borderline" if value >= Fraction(self.borderline) else "poor"


class Promises(Reasoned):
    """No visit is booked or decided more than so many days after the last operation, or after today."""

    days: StrictInt = Field(ge=28, le=1000)


class SupplySettings(Reasoned):
    """The next bottle is in hand before less than this share of the present one is ``left``, counted with
    drops as large as the largest measured, ``largest_drop_ul`` in microlitres."""

    left: float = Field(ge=0, lt=1)
    largest_drop_ul: float = Field(ge=10, le=100)


class AboveLabel(ProtocolPart):
    """A course above the label, owned by name and reason at the signing of the protocol."""

    medicine: MedicineRef
    drops_a_day: StrictInt = Field(ge=1, le=16)
    days: StrictInt = Field(ge=1)
    owner: str = Field(min_length=2)
    reason: SaidLine


class ProtocolFile(ProtocolPart):
    protocol: About
    rounds: RoundSettings
    medicines: dict[str, MedicineRef]
    kind: Annotated[dict[str, LookKind], Names(kind="kind of look")]
    tier: dict[Tier, TierSettings]
    long_nsaid: LongNsaid
    catch_up: CatchUp
    closed_days: ClosedDaysSettings
    promises: Promises
    earlier_operation: EarlierOperation
    pad: PadSettings
    routine: Routine
    summary: Summary
    hourly: Hourly
    from_before: FromBeforeSettings
    added_looks: AddedLooks
    early_vision: EarlyVision
    vision_bands: VisionBands
    supply: SupplySettings
    taper: Annotated[tuple[Taper, ...], Names("id", "taper")] = Field(min_length=1)
    above_label: tuple[AboveLabel, ...] = ()


@dataclass(frozen=True)
class Protocol:
    """A checked set of rules. ``hash`` names its content and the engine that read it."""

    about: About
    rounds: RoundSettings
    medicines: Mapping[str, MedicineId]
    kinds: Mapping[str, LookKind]
    tiers: Mapping[Tier, TierSettings]
    long_nsaid: LongNsaid
    catch_up: CatchUp
    closed_days: ClosedDaysSettings
    promises: Promises
    earlier_operation: EarlierOperation
    pad: PadSettings
    routine: Routine
    summary: Summary
    hourly: Hourly
    from_before: FromBeforeSettings
    added_looks: AddedLooks
    early_vision: EarlyVision
    vision_bands: VisionBands
    supply: SupplySettings
    tapers: Mapping[str, Taper]
    above_label: tuple[AboveLabel, ...]
    facts: tuple[FactDef, ...]
    rules: tuple[Rule, ...]
    formulary: Mapping[str, Medicine]
    usual_figures: UsualFigures
    cautions: CautionSet
    review: ReviewRules
    aftercare: Aftercare
    recall: RecallRules
    hash: str

    @property
    def name(self) -> str:
        return self.about.name

    @property
    def version(self) -> str:
        return self.about.version

    @property
    def round_price(self) -> int:
        return self.rounds.price

    @property
    def label(self) -> str:
        """Name and version in one, as printed on sheets."""
        return f"{self.about.name} {self.about.version}"

    @cached_property
    def facts_of_eyes(self) -> Mapping[str, FactDef]:
        """The facts that can be asked of an eye alone, without a medicine in mind."""
        found: dict[str, FactDef] = {}
        for fact in self.facts:
            if not about_medicine(fact, found):
                found[fact.name] = fact
        return found

    def usual_medicine(self, role: MedicineRole | str) -> Medicine:
        return self.formulary[self.medicines[role]]
