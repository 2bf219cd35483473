"""What weighs most: such a field is read only where no other words of the text speak against it.

Such a yes is asked where the same thing is named as planned, ready, of another time, denied or given up
anywhere else in the text. Every yes is asked where its sentence holds a denial that reaches nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

from followup.telling.matching import Place, ToldSentence
from followup.telling.model import ToldValue
from followup.telling.remark import Remark
from followup.telling.tables import table

_REACH = 10
"""Words that say something between a denial that reaches nothing and what it may be about."""

_AT_HAND = ("operation.tension_ring",)
_EXCEPTION = 1
"""The same between what is well and what takes back a part of it."""
_WELL = (("operation.watertight", True), ("operation.viscoelastic.removed", "all"))


def weighed(remarks: Sequence[Remark]) -> list[Remark]:
    """The remarks without those of another time; a yes that one of them speaks against is asked."""
    against = [one for one in remarks if one.state in ("not now", "given up") and one.field in _stakes()]
    remarks = [_at_hand(one, remarks) for one in remarks]
    return [
        _doubted(one) if any(_speaks_against(other, one) for other in against) else one
        for one in remarks
        if one.state != "not now"
    ]


def _at_hand(one: Remark, remarks: Sequence[Remark]) -> Remark:
    """A thing that was ready, with no word of its use: asked."""
    if one.field not in _AT_HAND or any(
        other.field == one.field and other.state != "not now" for other in remarks
    ):
        return one
    return replace(one, state="done", why="missing", weak=True)


def weighs(field: str) -> bool:
    """Whether a field, or a part of what is said of a medicine, is one of those."""
    return field in _stakes()


def beside_doubts(
    remarks: Sequence[Remark], sentence: ToldSentence, idle: Sequence[Place], exceptions: Sequence[Place]
) -> list[Remark]:
    """The remarks of a sentence; a yes, and what weighs most, is asked near a denial that reached nothing.

    What says that all is well is asked too before an exception: "watertight, but it opened again".
    """
    return [
        _doubted(one)
        if (
            (weighs(one.field) or one.value is True or any(_a_year(sentence, place) for place in idle))
            and any(_near(one.place, place, sentence) for place in idle)
        )
        or ((one.field, one.value) in _WELL and any(_before(one.place, at, sentence) for at in exceptions))
        else one
        for one in remarks
    ]


def _a_year(sentence: ToldSentence, place: Place) -> bool:
    return len(place.at) == 1 and sentence.tokens[place.first].kind == "number"


def _before(place: Place, exception: Place, sentence: ToldSentence) -> bool:
    gap = sentence.weight(place.last + 1, exception.first) if place.last < exception.first else _REACH
    return gap <= _EXCEPTION


def _near(place: Place, denial: Place, sentence: ToldSentence) -> bool:
    if place.last < denial.first:
        return sentence.weight(place.last + 1, denial.first) <= _REACH
    return place.first > denial.last and sentence.weight(denial.last + 1, place.first) <= _REACH


def _speaks_against(other: Remark, one: Remark) -> bool:
    if other.field != one.field or (other.place == one.place and other.words == one.words):
        return False
    return bool(_each(other.value) & _each(one.value))


def _each(value: ToldValue) -> frozenset[object]:
    return frozenset(value) if isinstance(value, tuple) else frozenset([value])


def _doubted(one: Remark) -> Remark:
    if one.why is not None or one.state != "done" or one.value is False:
        return one
    return replace(one, why="two readings", also=(False,) if one.value is True else one.also)


@cache
def _stakes() -> frozenset[str]:
    return frozenset(table("together")["stakes"])
