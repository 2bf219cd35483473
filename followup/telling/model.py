"""What was read from a telling: each field with its words, what is asked, and what was left over.

Fields are paths as the data files write them: ``operation.cut_mm``, ``operation.steroid.0.mg``,
``eye.uveitis.kind`` (the eye operated on), ``other_eye.glaucoma``, ``patient.conditions.diabetes``,
``in_use.0.medicine``. Values are those of the record. Offsets count characters of ``Telling.text``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from followup.clinical.record.base import Eye
from followup.said import Said

ToldValue = bool | int | float | str | tuple[str, ...]
WhyAsked = Literal[
    "hedged", "two readings", "contradiction", "bounds", "counted", "missing", "heard", "more", "kind"
]
"""Why a field is asked: it was said with a hedge; two values were told; what was told of two fields can't
both hold; the figure lies outside what the record takes; the figure was counted from another one (clock
hours); it was spoken of, or a part of it told, and not what holds; the words were not heard clearly, or their
sentence says more than was understood; the text may be of no operation that was done."""


@dataclass(frozen=True, order=True)
class Passage:
    """Characters ``start`` to ``end`` (not included) of the text."""

    start: int
    end: int

    def of(self, text: str) -> str:
        return text[self.start : self.end]


@dataclass(frozen=True)
class Possible:
    """One value that a field may have, and the words that speak for it, where there are any."""

    value: ToldValue
    words: tuple[Passage, ...] = ()


@dataclass(frozen=True)
class FieldTold:
    """One field of which something was told.

    "read": ``value`` stands in ``words``. "doubtful": ``value`` is None, ``question`` is asked, with
    ``choices`` to pick from and what was found beside them (``why``). A field of which nothing was told
    stands nowhere.
    """

    field: str
    kind: Literal["read", "doubtful"]
    words: tuple[Passage, ...]
    value: ToldValue | None = None
    question: Said | None = None
    choices: tuple[Possible, ...] = ()
    why: WhyAsked | None = None


@dataclass(frozen=True)
class NoPlace:
    """Something told that the record has no field for: ``what`` it is, and its words."""

    what: Said
    words: tuple[Passage, ...]


@dataclass(frozen=True)
class GivenUp:
    """What was tried and given up, or said and taken back: it is not what was done in the end."""

    field: str
    value: ToldValue
    words: tuple[Passage, ...]
    why: Literal["tried", "taken back"]


@dataclass(frozen=True)
class EyeTold:
    """An eye that the telling names as the operated one. It is compared, never entered from here."""

    eye: Eye
    words: tuple[Passage, ...]


@dataclass(frozen=True)
class NotThisText:
    """Why nothing was read: ``line`` says what is wrong and what to do, in one line."""

    code: Literal[
        "empty",
        "too long",
        "control",
        "another eye",
        "both eyes",
        "another operation",
        "not done",
        "nothing",
    ]
    line: Said
    words: tuple[Passage, ...] = ()


@dataclass(frozen=True)
class Telling:
    """A text and all that was read from it. Where ``refused`` stands, nothing was."""

    text: str
    language: str
    eyes: tuple[EyeTold, ...] = ()
    fields: tuple[FieldTold, ...] = ()
    unread: tuple[Passage, ...] = ()
    no_place: tuple[NoPlace, ...] = ()
    given_up: tuple[GivenUp, ...] = ()
    refused: NotThisText | None = None

    def told(self, field: str) -> FieldTold | None:
        """What was told of a field."""
        return next((one for one in self.fields if one.field == field), None)

    @property
    def read(self) -> dict[str, ToldValue]:
        """The values of all fields that were read; the doubtful ones are none of them."""
        return {one.field: one.value for one in self.fields if one.value is not None}
