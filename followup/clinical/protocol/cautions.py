"""The rules of the safety net as data: which medicines, under which conditions, say what.

Everything is closed: keys, levels, conditions, classes, placeholders. A rule that cannot be read
with certainty is refused with file and line, never skipped.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from string import Formatter
from typing import Annotated, Literal, TypeAlias

from pydantic import Field, StrictInt, model_validator

from followup.clinical.protocol.facts import FactDef
from followup.clinical.protocol.formulary import (
    Excipient,
    Form,
    Kind,
    Medicine,
    Potency,
    Route,
    Words,
)
from followup.clinical.protocol.names import NO_NAMES, KnownNames
from followup.clinical.protocol.parts import ProtocolPart, Reasoned
from followup.clinical.protocol.references import FactRef, Names, SentenceRef
from followup.clinical.record.base import MedicineId, MedicineRole

Level: TypeAlias = Literal["stop", "ask", "warn", "note"]
Choice: TypeAlias = Literal["nsaid", "steroid_with_inhibitor", "cycloplegic"]

SEVERITY: dict[Level, int] = {"stop": 3, "ask": 2, "warn": 1, "note": 0}
PLACEHOLDERS = frozenset({"medicine", "days", "count"})
PAIR_PLACEHOLDERS = frozenset({"medicine", "other"})

RuleId: TypeAlias = str


class Selector(ProtocolPart):
    """Medicines that a rule is about: those that fit every key given."""

    kinds: tuple[Kind, ...] = ()
    roles: tuple[MedicineRole, ...] = ()
    routes: tuple[Route, ...] = ()
    forms: tuple[Form, ...] = ()
    excipients: tuple[Excipient, ...] = ()
    substances: tuple[MedicineId, ...] = ()
    potencies: tuple[Potency, ...] = ()
    contraindications: tuple[FactRef, ...] = ()
    depot: bool | None = None

    @model_validator(mode="after")
    def _selects_something(self) -> Selector:
        if not self.model_fields_set:
            raise ValueError("names no medicine; give kinds, roles, routes or another key")
        return self

    def fits(self, medicine: Medicine) -> bool:
        lists: tuple[tuple[tuple[str, ...], tuple[str | None, ...]], ...] = (
            (self.kinds, medicine.kinds),
            (self.roles, (medicine.role,)),
            (self.routes, (medicine.route,)),
            (self.forms, (medicine.form,)),
            (self.excipients, medicine.excipients),
            (self.substances, medicine.substances),
            (self.potencies, (medicine.potency,)),
            (self.contraindications, medicine.contraindications),
        )
        if self.depot is not None and self.depot != medicine.is_depot:
            return False
        return all(not wanted or any(has in wanted for has in owned) for wanted, owned in lists)


class Dense(ProtocolPart):
    """Courses with ``count`` drops a day or more on over so many days."""

    count: StrictInt = Field(ge=1, le=24)
    over_days: StrictInt = Field(ge=0, le=400)


class CautionRule(Reasoned):
    """One caution. It fires for a medicine that fits one of ``applies`` when its conditions say so.

    ``always``: it needs no condition. ``dense``: it is about courses as dense as that alone.

    ``fires``: on yes, on not recorded, or on either. ``unless``: conditions that answer it; an
    answered caution stays as a note. ``level_in_use`` is the level for a medicine that the
    patient already takes ("silent": says nothing then). ``holds``: a new course waits;
    ``holds_in_use``: so does one in use. ``blocks``: the plan can't be signed before an answer.
    ``answer_choice`` names the surgeon's choice in the record that answers it with "give".
    ``instead`` is what is asked where a stop forbids a course of the plan; without it, another product.
    """

    id: RuleId = Field(pattern=r"^[a-z][a-z0-9-]*(\.[a-z0-9-]+)+$")
    applies: tuple[Selector, ...] = Field(min_length=1)
    when_any: tuple[FactRef, ...] = ()
    when_all: tuple[FactRef, ...] = ()
    always: bool = False
    dense: Dense | None = None
    fires: Literal["yes", "not recorded", "yes or not recorded"] = "yes"
    unless: tuple[FactRef, ...] = ()
    level: Level
    level_in_use: Level | Literal["silent"] | None = None
    holds: bool = False
    holds_in_use: bool = False
    blocks: bool | None = None
    text: Words
    question: Words | None = None
    instead: Words | None = None
    answer_choice: Choice | None = None
    sheet: SentenceRef | None = None

    @model_validator(mode="after")
    def _hangs_together(self) -> CautionRule:
        if [bool(self.when_any), bool(self.when_all), self.always].count(True) != 1:
            raise ValueError("give exactly one of when_any, when_all and always = true")
        if self.always and self.fires != "yes":
            raise ValueError("what always fires waits for no answer; take fires out")
        if "ask" in (self.level, self.level_in_use) and not self.question:
            raise ValueError("a caution that asks needs its question")
        if (self.holds and self.level not in ("stop", "ask")) or (self.holds_in_use and not self.holds):
            raise ValueError("only a caution that stops or asks can hold; correct level or holds")
        if self.instead and self.level != "stop":
            raise ValueError("instead belongs to a caution that stops; remove it")
        if self.answer_choice and self.level == "stop":
            raise ValueError("a choice can't answer a stop; remove answer_choice")
        _check_placeholders((self.text, self.question, self.instead), PLACEHOLDERS)
        return self


class DuplicateRule(Reasoned):
    """Two courses that overlap in time and both fit ``both``, in the ``where`` relation.

    ``same_substance``, ``same_kind``: they also share an active substance, a class.
    """

    id: RuleId = Field(pattern=r"^[a-z][a-z0-9-]*(\.[a-z0-9-]+)+$")
    both: Selector
    same_substance: bool = False
    same_kind: bool = False
    where: Literal["same eye", "both eyes", "eye and mouth", "same mouth"]
    level: Level
    text: Words
    question: Words | None = None

    @model_validator(mode="after")
    def _hangs_together(self) -> DuplicateRule:
        if self.level == "ask" and not self.question:
            raise ValueError("a caution that asks needs its question")
        _check_placeholders((self.text, self.question), PAIR_PLACEHOLDERS)
        return self


class CautionFile(ProtocolPart):
    caution: Annotated[tuple[CautionRule, ...], Names("id")] = Field(min_length=1)
    duplicate: Annotated[tuple[DuplicateRule, ...], Names("id")] = Field(min_length=1)


@dataclass(frozen=True)
class CautionSet:
    """All rules of the safety net. Of the duplicate rules that fit a pair, the first speaks.

    ``names`` are the medicines and reactions known in free words; ``facts`` what the rules may ask, of
    eyes read with these ``roles`` and ``recent_days``.
    """

    cautions: tuple[CautionRule, ...]
    duplicates: tuple[DuplicateRule, ...]
    names: KnownNames = NO_NAMES
    facts: Mapping[str, FactDef] = field(default_factory=dict)
    roles: Mapping[str, MedicineRole] = field(default_factory=dict)
    recent_days: int = 0
    _known: dict[Medicine, tuple[CautionRule, ...]] = field(default_factory=dict, compare=False, repr=False)

    def about(self, medicine: Medicine) -> tuple[CautionRule, ...]:
        """The rules about a medicine, in their order."""
        if medicine not in self._known:
            rules = (rule for rule in self.cautions if any(one.fits(medicine) for one in rule.applies))
            self._known[medicine] = tuple(rules)
        return self._known[medicine]


def _check_placeholders(texts: tuple[str | None, ...], known: frozenset[str]) -> None:
    for text in texts:
        used = {name for _, name, _, _ in Formatter().parse(text or "") if name is not None}
        if used - known:
            raise ValueError(
                f"unknown placeholder {{{min(used - known)}}}; known: {', '.join(sorted(known))}"
            )
