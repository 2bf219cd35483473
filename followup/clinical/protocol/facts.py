"""What a rule asks of a record, as data: each fact with its field, its test and its words."""

from __future__ import annotations

import re
from collections.abc import Container, Iterable
from functools import cached_property
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, StrictBool, StrictFloat, model_validator

from followup.clinical.record.eye import is_of_medicine
from followup.said import SaidText

Scalar = bool | int | float | str
PLACE = re.compile(r"\{(\w+)\}")


Mark = Literal["P", "S", "M", "C"]


class FactDef(BaseModel):
    """How one statement is tested. Exactly one of ``field``, ``any_of``, ``all_of``, ``first_of`` is given.

    ``absent`` says what a field that holds nothing means: most events are written down only when
    they happen ("no"); for some the silence itself is the danger ("not recorded"). ``no_where`` names facts
    of which each makes silence mean "no". ``first_of`` is ``any_of`` told by the first that is so alone.

    A fact tells itself as it holds: ``about`` where it is so, ``otherwise`` where it is not ("" where that
    goes without saying), ``unknown`` where nothing is written down. ``said`` tells what the record says
    instead, either way, as soon as every one of its ``values`` (fields by name) is there: "active on 9
    February 2026, 21 days before surgery".
    """

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    name: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    about: SaidText
    otherwise: SaidText | None = None
    unknown: SaidText | None = None
    said: SaidText | None = None
    values: dict[str, str] = {}
    field: str | None = None
    is_: tuple[Scalar, ...] | None = Field(None, alias="is", min_length=1)
    at_least: StrictFloat | None = None
    over: StrictFloat | None = None
    under: StrictFloat | None = None
    up_to: StrictFloat | None = None
    contains: tuple[str, ...] | None = Field(None, min_length=1)
    present: StrictBool | None = None
    mentions: tuple[str, ...] | None = Field(None, min_length=1)
    some: dict[str, tuple[Scalar, ...]] | None = None
    some_at_least: dict[str, StrictFloat] = {}
    some_over: dict[str, StrictFloat] = {}
    absent: Literal["no", "not recorded", "yes"] = "not recorded"
    any_of: tuple[str, ...] | None = Field(None, min_length=1)
    all_of: tuple[str, ...] | None = Field(None, min_length=1)
    first_of: tuple[str, ...] | None = Field(None, min_length=1)
    no_where: tuple[str, ...] = ()
    because: SaidText = ""
    source: SaidText = ""
    mark: Mark | None = None

    @model_validator(mode="after")
    def _is_one_test(self) -> FactDef:
        ways = [w for w in (self.field, self.any_of, self.all_of, self.first_of) if w is not None]
        if len(ways) != 1:
            raise ValueError("give exactly one of field, any_of and all_of (or first_of)")
        limits = (self.at_least, self.over, self.under, self.up_to)
        tests = [self.is_, self.contains, self.present, self.some, self.mentions]
        count = sum(t is not None for t in tests) + any(x is not None for x in limits)
        if count != (1 if self.field else 0):
            raise ValueError(
                "a field needs exactly one test (is, a limit, contains, present, mentions or some)"
            )
        if any(x is not None for x in limits) and not (self.because and self.source and self.mark):
            raise ValueError("a fact with a number needs because, source and mark")
        sourced = self.some and self.because and self.source and self.mark
        if (self.some_at_least or self.some_over) and not sourced:
            raise ValueError("some_at_least and some_over go with some, and need because, source and mark")
        if none_between((self.at_least, self.over), (self.under, self.up_to), self.over, self.under):
            raise ValueError("no number lies between these limits")
        silent_yes_or_no = self.absent != "not recorded" or self.some is not None or self.present is not None
        if self.no_where and (silent_yes_or_no or not self.field):
            raise ValueError("no_where goes with a field whose silence would else be not recorded")
        if set(self.values) != set(PLACE.findall(self.said or "")):
            raise ValueError("said and values do not name the same")
        if clash := {f"not {name}" for name in self.all_of or ()} & set(self.all_of or ()):
            raise ValueError(f'the fact can never hold: it wants "{min(clash)}" and the opposite')
        return self

    @cached_property
    def parts(self) -> tuple[str, ...]:
        """The facts that it is made of; one may stand as "not name"."""
        return self.any_of or self.all_of or self.first_of or ()

    @cached_property
    def builds_on(self) -> tuple[str, ...]:
        """Every fact that must stand before it."""
        return (*self.parts, *self.no_where)


def none_between(
    lows: Iterable[float | None], highs: Iterable[float | None], *excluded: float | None
) -> bool:
    """Whether no number is at or above all ``lows`` and at or under all ``highs``, ``excluded`` left out."""
    low = max(x for x in (*lows, float("-inf")) if x is not None)
    high = min(x for x in (*highs, float("inf")) if x is not None)
    return low > high or (low == high and low in excluded)


def bare(name: str) -> str:
    """The fact's name without a leading "not "."""
    return name.removeprefix("not ")


def about_medicine(fact: FactDef, of_eye: Container[str]) -> bool:
    """Whether it asks about a medicine, itself or by a fact that is not among those ``of_eye``."""
    if fact.field is not None and is_of_medicine(fact.field):
        return True
    return any(bare(name) not in of_eye for name in fact.builds_on)


def may_be_open(fact: FactDef, open_: Container[str]) -> bool:
    """Whether silence can leave it not recorded, itself or by one of those that are ``open_``."""
    if fact.field is None:
        return any(bare(name) in open_ for name in fact.parts)
    return fact.some is not None or (fact.absent == "not recorded" and fact.present is None)
