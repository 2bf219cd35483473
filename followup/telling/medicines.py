"""Steroids and antibiotics that were given at surgery: which, how much, where, and what became of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import get_args

from followup.clinical.record.operation import SteroidGiven
from followup.telling.model import Passage, ToldValue
from followup.telling.remark import Remark
from followup.telling.tables import table

DRUG = "drug."
_NAME = "drug.name"
_ROUTE_NEAR = 5
"""Words: "dexamethasone drops four times a day" is no medicine of the operation."""
_BESIDE = 4
_KEPT = ("mg", "place", "form", "purpose", "fate", "crystals_seen_after")
_LATER = ("drug.fate", "drug.purpose", "drug.crystals_seen_after")
"""What the sentences after the one of a medicine may say of it."""
_ELSEWHERE = {"under the conjunctiva": "under the conjunctiva", "vitreous": "into the vitreous"}
_ELSEWHERE |= {"mouth": "by mouth", "vein": "into a vein"}


@dataclass
class _Given:
    """One mention of a medicine with what was said of it."""

    name: Remark
    sentence: int
    parts: dict[str, list[Remark]] = field(default_factory=dict)

    def value(self, part: str) -> ToldValue | None:
        told = self.parts.get(part)
        return told[0].value if told else None


def medicines_told(remarks: Sequence[Remark], sentences: Sequence[int]) -> list[Remark]:
    """The remarks about medicines as remarks on fields; ``sentences``: where each sentence begins."""
    given = _joined(_mentions(remarks, sentences))
    found: list[Remark] = []
    steroids = [one for one in given if one.name.value in _names("steroids") and not _of_the_body(one)]
    for number, one in enumerate(steroids[:4]):
        found += _steroid(one, f"operation.steroid.{number}")
    for one in given:
        if one.name.value in _names("antibiotics"):
            found += _antibiotic(one)
    return found


def _of_the_body(one: _Given) -> bool:
    """Whether it went into a vein or was swallowed: the patient had it, the operation did not."""
    return any(told.value in ("vein", "mouth", "before") for told in one.parts.get("place", ()))


def _mentions(remarks: Sequence[Remark], sentences: Sequence[int]) -> list[_Given]:
    def number(one: Remark) -> int:
        return sum(begin <= one.start for begin in sentences)

    given = [_Given(one, number(one)) for one in remarks if one.field == _NAME]
    for one in remarks:
        # "Into the chamber was not done": it was not put there; whether it was given at all is asked.
        denied = one.field == "drug.place" and one.state == "given up"
        if one.field.startswith(DRUG) and one.field != _NAME and not denied:
            owner = _owner(one, number(one), given)
            if owner and (one.field != "drug.route" or _beside(owner.name, one)):
                owner.parts.setdefault(one.field.removeprefix(DRUG), []).append(one)
    for mention in given:
        _shared(mention, given)
    return [one for one in given if one.value("route") is None and one.name.state == "done"]


def _owner(part: Remark, sentence: int, given: Sequence[_Given]) -> _Given | None:
    """The medicine that something was said of: the nearest of its sentence, else the last before."""
    here = [one for one in given if one.sentence == sentence]
    before = [one for one in here if one.name.place.last < part.place.first]
    if part.field == "drug.place" and before and _distance(before[-1].name, part) <= _BESIDE:
        # "cefuroxime 1 mg intracameral and dexamethasone": a word between is enough to part it from the next.
        after = [_distance(one.name, part) for one in here if one.name.place.first > part.place.last]
        if min(after, default=2) > 1:
            return max(before, key=lambda one: one.name.start)
    if here:
        return min(here, key=lambda one: (_distance(one.name, part), one.name.start))
    before = [one for one in given if one.sentence in (sentence - 1, sentence - 2)]
    return before[-1] if before and part.field in _LATER else None


def _beside(name: Remark, route: Remark) -> bool:
    return abs(_distance(name, route)) <= _ROUTE_NEAR


def _distance(one: Remark, other: Remark) -> int:
    if set(one.place.at) & set(other.place.at):
        return 0
    return max(other.place.first - one.place.last, one.place.first - other.place.last)


def _shared(mention: _Given, given: Sequence[_Given]) -> None:
    """ "Cefuroxime and dexamethasone under the conjunctiva": one place said of two."""
    if "place" in mention.parts:
        return
    for other in given:
        if other.sentence == mention.sentence and other is not mention and "place" in other.parts:
            place = other.parts["place"][0]
            outside = place.start < min(mention.name.start, other.name.start) or place.start > max(
                mention.name.start, other.name.start
            )
            if outside and abs(_distance(mention.name, other.name)) <= 6:
                mention.parts["place"] = [place]
                return


def _joined(given: list[_Given]) -> list[_Given]:
    """Two mentions of one medicine are one giving, unless two places or amounts were told."""
    found: list[_Given] = []
    for one in given:
        same = next((other for other in found if _fits(other, one)), None)
        if same is None:
            found.append(one)
            continue
        for part, told in one.parts.items():
            same.parts.setdefault(part, []).extend(told)
        value = max(str(same.name.value), str(one.name.value), key=len)
        same.name = replace(same.name, value=value, words=same.name.words + one.name.words)
    return found


def _fits(other: _Given, one: _Given) -> bool:
    some, more = str(other.name.value).split(), str(one.name.value).split()
    if some[0] != more[0] or (len(some) == len(more) and some != more):
        return False
    parts = (
        part for part in ("mg", "place") if other.value(part) is not None and one.value(part) is not None
    )
    return all(other.value(part) == one.value(part) for part in parts)


def _steroid(one: _Given, head: str) -> Iterator[Remark]:
    # Without its place it may have been a drop, a tablet or nobody's: then nothing of it is sure.
    placed = one.value("place") in _places() and one.name.why is None
    if one.name.why is None or one.parts:
        medicine = _medicine("steroids", one) or str(one.name.value)
        yield _sure(replace(one.name, field=f"{head}.medicine", value=medicine), placed)
    for part in _KEPT:
        for told in one.parts.get(part, ()):
            if part != "place" or told.value in _places():
                yield _sure(replace(told, field=f"{head}.{part}"), placed)
    if "place" not in one.parts:
        for number, place in enumerate(_places()):
            yield replace(
                one.name,
                field=f"{head}.place",
                value=place,
                why="missing",
                words=one.name.words if not number else (),
            )


def _sure(told: Remark, sure: bool) -> Remark:
    return told if sure or told.why is not None else replace(told, why="missing")


def _antibiotic(one: _Given) -> Iterator[Remark]:
    place = one.value("place")
    words = _words(one)
    # A hedge behind "into the chamber" is about the giving: "..., I think".
    why = one.name.why or next((told.why for told in one.parts.get("place", ()) if told.why), None)
    name = replace(one.name, words=words, why=why)
    if place == "chamber":
        yield replace(name, field="operation.antibiotic_in_chamber", value=True)
        if medicine := _medicine("antibiotics", one):
            yield replace(name, field="operation.antibiotic", value=medicine)
    elif place in _ELSEWHERE:
        yield replace(name, field="operation.antibiotic_elsewhere", value=_ELSEWHERE[str(place)])
    elif place is None:
        name = replace(one.name, why="missing")
        yield replace(name, field="operation.antibiotic_in_chamber", value=True, also=(False,))
        if medicine := _medicine("antibiotics", one):
            yield replace(name, field="operation.antibiotic", value=medicine)


def _words(one: _Given) -> tuple[Passage, ...]:
    places = [place for told in one.parts.get("place", ()) for place in told.words]
    return tuple(sorted({*one.name.words, *places}))


def _medicine(kind: str, one: _Given) -> str | None:
    for row in table("medicines")[kind]:
        if row["substance"] == one.name.value and all(
            key not in row or row[key] == one.value(key) for key in ("place", "form")
        ):
            medicine: str | None = row.get("medicine")
            return medicine
    return None


def _places() -> tuple[str, ...]:
    return get_args(SteroidGiven.model_fields["place"].annotation)


def _names(kind: str) -> frozenset[str]:
    return frozenset(row["substance"] for row in table("medicines")[kind])
