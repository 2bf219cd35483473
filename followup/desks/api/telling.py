"""A told operation read into the fields of a record; nothing is stored."""

from __future__ import annotations

from typing import Literal

from followup.care.records import telling as care
from followup.care.records.telling import ToRead
from followup.clinical.record import Eye
from followup.desks.api.base import Given, router_of
from followup.desks.door.hand import AnyHand
from followup.telling.model import WhyAsked

router = router_of("Operations and records")

ToldOut = bool | int | float | str | tuple[str, ...]


class PassageOut(Given):
    """Characters ``start`` to ``end`` (not included) of the text."""

    start: int
    end: int


class PossibleOut(Given):
    """A value that a field may have, and the words that speak for it."""

    value: ToldOut
    words: tuple[PassageOut, ...]


class FieldTold(Given):
    """A field of which something was told: read, with its value, or doubtful, with what to ask and pick from.

    ``field`` as the protocol's files name it: "operation.cut_mm", "eye.glaucoma" (the eye operated on).
    """

    field: str
    kind: Literal["read", "doubtful"]
    words: tuple[PassageOut, ...]
    value: ToldOut | None
    question: str | None
    choices: tuple[PossibleOut, ...]
    why: WhyAsked | None


class NoPlaceOut(Given):
    """Something told that the record has no field for."""

    what: str
    words: tuple[PassageOut, ...]


class GivenUpOut(Given):
    """What was tried and given up, or said and taken back."""

    field: str
    value: ToldOut
    words: tuple[PassageOut, ...]
    why: Literal["tried", "taken back"]


class EyeTold(Given):
    """An eye that the text names as the operated one; compared, never entered."""

    eye: Eye
    words: tuple[PassageOut, ...]


class ReadOut(Given):
    """What was read. ``routine``: the answers that may stand for what was not told, by field."""

    eyes: tuple[EyeTold, ...]
    fields: tuple[FieldTold, ...]
    unread: tuple[PassageOut, ...]
    no_place: tuple[NoPlaceOut, ...]
    given_up: tuple[GivenUpOut, ...]
    routine: dict[str, ToldOut]


@router.post("/records/read")
def read(hand: AnyHand, sent: ToRead) -> ReadOut:
    """Read an operation as it was told. Nothing is stored; send the text along as a record's ``telling``."""
    found = care.read(hand, sent)
    return ReadOut.of(found.telling, routine=found.routine)
