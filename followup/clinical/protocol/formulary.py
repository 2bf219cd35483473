"""The formulary: every medicine that a record may name or a plan may give, as data.

Generic names only. Each entry says where its figures come from: ``mark`` is P (published text
seen), S (seen in a secondary copy), M (from memory) or C (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import Field, StringConstraints, model_validator

from followup.clinical.protocol.parts import Mark, ProtocolPart, Sourced
from followup.clinical.protocol.references import FactRef, Names
from followup.clinical.record.base import MedicineId, MedicineRole
from followup.said import MaySay

Country: TypeAlias = Literal["UK", "US", "EU"]
Form: TypeAlias = Literal[
    "solution", "suspension", "emulsion", "gel", "ointment", "tablet", "capsule", "slow-release"
]
Route: TypeAlias = Literal["eye", "mouth", "injection"]
Potency: TypeAlias = Literal["weak", "moderate", "strong", "strongest"]
Kind: TypeAlias = Literal[
    "corticosteroid",
    "nsaid",
    "fluoroquinolone",
    "aminoglycoside",
    "amphenicol",
    "cephalosporin",
    "tetracycline",
    "sulfonamide antibiotic",
    "antimuscarinic",
    "beta-blocker",
    "carbonic anhydrase inhibitor",
    "alpha agonist",
    "prostaglandin",
    "miotic",
    "rho kinase inhibitor",
    "lubricant",
    "hyperosmotic",
    "nucleoside antiviral",
]
Excipient: TypeAlias = Literal[
    "benzalkonium", "sulphite", "phosphate", "borate", "polyquaternium", "edetate", "chlorite", "wool fat"
]
CapColour: TypeAlias = Literal[
    "pink", "tan", "grey", "red", "dark green", "yellow", "purple", "orange", "turquoise", "dark blue"
]

Words = Annotated[str, StringConstraints(min_length=1, max_length=300, strip_whitespace=True), MaySay]

MARK_LETTERS: Mapping[MedicineRole, str] = {
    "steroid": "S",
    "nsaid": "N",
    "antibiotic": "A",
    "cycloplegic": "C",
    "pressure": "P",
    "lubricant": "L",
    "salt": "H",
    "antiviral": "V",
    "steroid tablet": "T",
    "other": "O",
}
"""One capital a role, for the mark drawn on a bottle (H: hypertonic)."""

_ORDER: Mapping[Form, int] = {"solution": 0, "suspension": 1, "emulsion": 2, "gel": 3, "ointment": 5}
_PACKED: Mapping[Form, str] = {"tablet": " tablets", "capsule": " capsules"}
_DROPS = frozenset({"solution", "suspension", "emulsion"})


class LabelCeiling(Sourced):
    """The most that a label allows: drops a day from ``from_day`` of the course, for ``days``.

    ``from_day`` counts the first day of the course as 1. ``days`` None: the label gives no end.
    """

    country: Country
    drops_a_day: int = Field(ge=1, le=96)
    from_day: int = Field(1, ge=1, le=365)
    days: int | None = Field(None, ge=1, le=365)


class LabelDays(Sourced):
    """The longest course of a label in days; ``only`` names the patients it is for."""

    country: Country
    days: int = Field(ge=1, le=365)
    only: Literal["diabetes"] | None = None


class Medicine(Sourced):
    """One product: a generic medicine of one strength and form.

    ``drops_per_ml`` is the rule of thumb unless the maker's figure is known; ``largest_drop_ul``
    is the largest drop of its bottle in microlitres, where it was measured. ``wastage`` is
    how many drops are used up for each that lands in the eye (1: none wasted, the assumption
    until a clinic measures its own). ``open_days`` counts the opening day. ``wait_minutes`` is the
    gap to any other medicine in the same eye; of two, the longer applies. ``substances`` are the
    active ones, for allergies and duplicates. ``single_dose``: one small container for one time and one eye.
    """

    id: MedicineId
    name: Words
    strength: Words
    form: Form
    role: MedicineRole
    route: Route = "eye"
    kinds: tuple[Kind, ...] = Field(min_length=1)
    substances: tuple[MedicineId, ...] = Field(min_length=1)
    potency: Potency | None = None
    potency_mark: Mark | None = None
    volume_ml: float | None = Field(None, gt=0, le=100)
    weight_g: float | None = Field(None, gt=0, le=100)
    tablet_mg: float | None = Field(None, gt=0, le=2000)
    drops_per_ml: float = Field(ge=10, le=60)
    largest_drop_ul: float | None = Field(None, ge=10, le=100)
    doses_per_g: float = Field(ge=5, le=60)
    wastage: float = Field(1, ge=1, le=5)
    open_days: int = Field(ge=1, le=28)
    single_dose: bool = False
    shake: bool = False
    cap: CapColour | None = None
    labels: tuple[LabelCeiling, ...] = ()
    label_count: int | None = Field(None, ge=1, le=24)
    label_days: tuple[LabelDays, ...] = ()
    shortest_interval_hours: int = Field(ge=1, le=24)
    bedtime_only: bool = False
    wait_minutes: int = Field(ge=1, le=60)
    excipients: tuple[Excipient, ...] = ()
    contraindications: tuple[FactRef, ...] = ()
    note: Words | None = None

    @model_validator(mode="after")
    def _container_fits_the_form(self) -> Medicine:
        for_eye = self.route == "eye"
        if (self.form in ("tablet", "capsule")) != (self.route == "mouth"):
            raise ValueError("tablets and capsules go by mouth, and nothing else does; correct form or route")
        if (self.route == "mouth") != (self.tablet_mg is not None):
            raise ValueError("tablet_mg belongs to tablets and capsules, and to nothing else")
        if (self.form == "slow-release") and self.route != "injection":
            raise ValueError("a slow-release form is put in by the surgeon; write route = injection")
        if (for_eye and self.form in _DROPS) != (self.volume_ml is not None):
            raise ValueError("volume_ml belongs to eye drops, and to nothing else")
        if self.single_dose and (not for_eye or self.form not in _DROPS or self.open_days != 1):
            raise ValueError("a single dose is an eye drop for one day; write open_days = 1")
        if self.single_dose and "benzalkonium" in self.excipients:
            raise ValueError("a single dose has no benzalkonium; correct one")
        if (for_eye and self.form in ("gel", "ointment")) != (self.weight_g is not None):
            raise ValueError("weight_g belongs to gels and ointments, and to nothing else")
        return self

    @model_validator(mode="after")
    def _role_has_its_figures(self) -> Medicine:
        if self.role == "steroid" and self.route == "eye" and not (self.potency and self.potency_mark):
            raise ValueError("a steroid for the eye needs potency and potency_mark")
        if self.role == "nsaid" and not (self.label_count and self.label_days):
            raise ValueError("an NSAID needs label_count and label_days")
        if self.form == "suspension" and self.route == "eye" and not self.shake:
            raise ValueError("a suspension is shaken; write shake = true")
        return self

    @property
    def label(self) -> str:
        """Name and strength as printed on the bottle; a tablet's strength never stands like a dose."""
        packed = " single doses" if self.single_dose else _PACKED.get(self.form, "")
        return f"{self.name} {self.strength}{packed}"

    @property
    def mark_letter(self) -> str:
        return MARK_LETTERS[self.role]

    @property
    def drops_per_bottle(self) -> int:
        """Drops (for a gel or ointment: doses) of one full container; 0 for what has no container."""
        if self.single_dose:
            return 1
        amount = (self.volume_ml or 0) * self.drops_per_ml + (self.weight_g or 0) * self.doses_per_g
        return int(amount / self.wastage + 1e-9)

    def drops_of(self, largest_ul: float) -> int:
        """Drops of one full bottle if each is as large as this (in microlitres), never more than usual."""
        if self.volume_ml is None:
            return self.drops_per_bottle
        return min(self.drops_per_bottle, int(self.volume_ml * 1000 / largest_ul / self.wastage + 1e-9))

    @property
    def order(self) -> int:
        """Place within a round: solution, suspension, emulsion, gel, lubricant drops, ointment."""
        if self.role == "lubricant" and self.form != "ointment":
            return 4
        return _ORDER.get(self.form, 6)

    @property
    def is_depot(self) -> bool:
        """A steroid that goes on working after the surgeon has left it: crystals or slow-release."""
        return (
            self.role == "steroid"
            and self.route == "injection"
            and self.form in ("suspension", "slow-release")
        )

    def longest_label_days(self, *, diabetes: bool, country: Country | None = None) -> int | None:
        """Days that the label of ``country`` allows; without a country, the strictest label.

        A figure for people with diabetes counts for them only, and then instead of the general
        one. None: no label length is on file.
        """
        on_file = [d for d in self.label_days if country in (None, d.country)]
        own = [d.days for d in on_file if diabetes and d.only == "diabetes"]
        general = [d.days for d in on_file if d.only is None]
        return max(own) if own else min(general, default=None)


class UsualFigures(Sourced):
    """What holds for a medicine whose entry says nothing else."""

    drops_per_ml: float = Field(ge=10, le=60)
    doses_per_g: float = Field(ge=5, le=60)
    open_days: int = Field(ge=1, le=28)
    wait_minutes: int = Field(ge=1, le=60)
    shortest_interval_hours: int = Field(ge=1, le=24)


class FormularyFile(ProtocolPart):
    usual: UsualFigures
    medicine: Annotated[tuple[Medicine, ...], Names("id", "medicine")] = Field(min_length=1)

    @model_validator(mode="before")
    @classmethod
    def _what_goes_without_saying(cls, data: Any) -> Any:
        usual, medicines = data.get("usual"), data.get("medicine")
        if not isinstance(usual, dict) or not isinstance(medicines, list):
            return data
        known = UsualFigures.model_fields.keys() - Sourced.model_fields.keys()
        figures = {key: usual[key] for key in known & usual.keys()}
        return data | {"medicine": [figures | one if isinstance(one, dict) else one for one in medicines]}


def label_of(key: str, formulary: Mapping[str, Medicine]) -> str:
    """Name and strength, or the key of a medicine that is not in the formulary."""
    return formulary[key].label if key in formulary else key
