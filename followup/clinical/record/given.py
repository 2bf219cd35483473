"""A medicine that somebody is given, as far as facts ask about it: its course, and what is told around it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from followup.clinical.record.patient import AllergyTo, ReactionTold

StandsFor = Literal["blood_thinner", "mao_inhibitor", "ritonavir or cobicistat", "eye class", "note"]


@dataclass(frozen=True)
class Told:
    """One thing told in the record: the ``fields`` that tell it, and those that could settle it."""

    fields: tuple[str, ...]
    answers: tuple[str, ...]


@dataclass(frozen=True)
class AllergyTold(Told):
    """One allergy, of the list or (``in_words``) of the free text.

    ``to`` are the words of the list that it falls under. ``names``: the medicine asked about or a substance
    of it, another of its class, or neither. ``unclear``: the word means several things.
    """

    to: tuple[AllergyTo, ...]
    names: Literal["this medicine", "its class", "neither"]
    reaction: ReactionTold
    in_words: bool
    unclear: bool


@dataclass(frozen=True)
class TabletTaken(Told):
    """A tablet outside the formulary that goes on, and what it stands for."""

    stands_for: StandsFor


@dataclass(frozen=True)
class GivenMedicine:
    """``days`` is the length of the course; ``label_days`` what the strictest label allows, or None."""

    days: int
    label_days: int | None
    label_days_in_diabetes: int | None
    allergies: tuple[AllergyTold, ...]
    tablets: tuple[TabletTaken, ...]
