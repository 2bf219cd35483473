"""One thing that was said of one field of the record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from followup.telling.matching import Place
from followup.telling.model import Passage, ToldValue, WhyAsked

LOOSE = "loose"
"""The field of a figure that belongs to nothing by itself: what follows a correction."""
BEFORE = ("eye.", "patient.", "operation.iridotomy")
"""Fields of what was so before the operation: a past is told there."""
EYE = "eye"
"""The field of the side that a telling names; it is compared, never entered."""
NOWHERE = Place((0,))

State = Literal["done", "tried", "given up", "taken back", "not now"]
"""not now: planned, ready, or of another time."""


@dataclass(frozen=True)
class Remark:
    """One thing said of a field. ``why`` stands where it is asked and not read, ``also`` is what else it
    could be. ``place`` is in its sentence, ``unit`` that of a figure. ``when``: 1 at the end, -1 at first.
    ``weak``: its words only name the thing. ``shown``: its words with those
    that deny it. ``ours``: it is of this eye and this operation, though its sentence speaks of others too.
    ``unsettles``: its words ask the field whatever else was told of it, whenever."""

    field: str
    value: ToldValue
    words: tuple[Passage, ...]
    place: Place
    why: WhyAsked | None = None
    state: State = "done"
    unit: str | None = None
    also: tuple[ToldValue, ...] = ()
    when: int = 0
    figure: Place = NOWHERE
    weak: bool = False
    shown: tuple[Passage, ...] = ()
    ours: bool = False
    unsettles: bool = False

    @property
    def start(self) -> int:
        return self.words[0].start
