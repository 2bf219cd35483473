"""Chips: what was told is pressed, and "asked, none other" answers the rest with no.

A chip that is not pressed says nothing. An answer of no that was given alone keeps its own control.
"""

from __future__ import annotations

from dataclasses import dataclass

from followup.care.fields.shape import RECORD, Field, Group, Member
from followup.care.fields.values import Flat, rows
from followup.desks.forms.layout import ASKED_TOO, CHIPS

NONE_OTHER = "none:"
"""Before the head of a group of chips: the tick that says that all of them were asked for."""
TICKED = "ticked:"
"""Before the name of a group that a tick alone says is there: the page showed the tick."""
_ALLERGIES = "patient.allergies"


@dataclass(frozen=True)
class ChipGroup:
    """``chips`` are pressed or not, ``alone`` answered one by one; ``none_other``: all were asked for."""

    prefix: str
    chips: tuple[Field, ...]
    alone: tuple[Field, ...]
    none_other: bool

    @property
    def tick(self) -> str:
        return f"{NONE_OTHER}{self.prefix}"


@dataclass(frozen=True)
class AllergyChip:
    """A line of the list of allergies, told or offered, at its place in the list."""

    name: str
    to: str
    told: bool


def chip_group(form: Flat, prefix: str) -> ChipGroup:
    """The chips below ``prefix`` as the form answers them."""
    shape = _below(prefix)
    fields = tuple(f for name in CHIPS[prefix] if isinstance(f := shape.member(name), Field))
    said = {f.name: next((t for t in form.get(f"{prefix}{f.name}", ()) if t), "") for f in fields}
    rest = [answer for answer in said.values() if answer != "yes"]
    none_other = bool(rest) and all(answer == "no" for answer in rest)
    alone = () if none_other else tuple(f for f in fields if said[f.name] not in ("", "yes"))
    return ChipGroup(prefix, tuple(f for f in fields if f not in alone), alone, none_other)


def allergy_chips(form: Flat) -> tuple[AllergyChip, ...]:
    """The allergies that are told, in their order, then one chip for every word that is not."""
    told = [
        (i, next((t for t in form.get(f"{_ALLERGIES}.{i}.to", ()) if t), ""))
        for i in range(rows(form, _ALLERGIES))
    ]
    shown = [AllergyChip(f"{_ALLERGIES}.{i}", word, told=True) for i, word in told if word]
    known = {chip.to for chip in shown} - {"medicine", "other"}
    field = _below(f"{_ALLERGIES}.").member("to")
    assert isinstance(field, Field)
    first = rows(form, _ALLERGIES)
    fresh = [word for word in field.choices if word not in known]
    return (*shown, *(AllergyChip(f"{_ALLERGIES}.{first + i}", w, told=False) for i, w in enumerate(fresh)))


def completed(form: Flat) -> dict[str, list[str]]:
    """What a posted form says: the chips not pressed answered where all were asked for, and nothing left
    of what stood behind a tick that was taken away."""
    said = {name: list(values) for name, values in form.items()}
    for i in range(rows(form, _ALLERGIES)):
        if not any(said.get(f"{_ALLERGIES}.{i}.to", ())):
            _drop(said, f"{_ALLERGIES}.{i}.")
    for name in [name for name in form if name.startswith(TICKED)]:
        del said[name]
        if not any(said.get(name.removeprefix(TICKED), ())):
            _drop(said, f"{name.removeprefix(TICKED)}.")
    for prefix, chips in CHIPS.items():
        if any(said.pop(f"{NONE_OTHER}{prefix}", ())):
            for one in (*chips, *ASKED_TOO.get(prefix, ())):
                if not any(said.get(f"{prefix}{one}", ())):
                    said[f"{prefix}{one}"] = ["no"]
    return said


def _drop(form: dict[str, list[str]], head: str) -> None:
    for name in [name for name in form if name.startswith(head)]:
        del form[name]


def _below(prefix: str) -> Group:
    found: Member = RECORD
    for part in prefix.strip(".").split("."):
        assert isinstance(found, Group)
        found = found.member(part)
    assert isinstance(found, Group)
    return found
