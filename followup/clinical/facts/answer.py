"""What a condition is asked about, and the three-valued answer it gives."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TypeAlias

from followup.clinical.facts.allergies_told import ToldAllergy
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.record import Eye, Findings, Operation, Record
from followup.clinical.record.base import BOTH_EYES
from followup.clinical.record.patient import EyeHistory


@dataclass(frozen=True)
class OnePerson:
    """One medicine for one person. ``eye`` None: by mouth, so that both eyes count.

    ``days`` is the length of the course, ``counts`` its steps as (times a day, days). Reviews after
    ``as_of`` are not looked at. ``allergies`` are those of the list and of the words; ``taken`` is what
    described tablets stand for, with the fields that name them.
    """

    record: Record
    medicine: Medicine
    eye: Eye | None
    days: int
    counts: tuple[tuple[int, int], ...]
    as_of: date | None = None
    allergies: tuple[ToldAllergy, ...] = ()
    taken: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def days_at(self, count: int) -> int:
        """The days with ``count`` times a day or more."""
        return sum(days for times, days in self.counts if times >= count)

    @property
    def eyes(self) -> tuple[Eye, ...]:
        return BOTH_EYES if self.eye is None else (self.eye,)

    def history(self, eye: Eye) -> EyeHistory:
        eyes = self.record.patient.eyes
        return eyes.right if eye == "right" else eyes.left

    def operations(self, eye: Eye) -> tuple[tuple[int, Operation], ...]:
        """The operations of an eye with their index in the record, oldest first."""
        mine = [(i, o) for i, o in enumerate(self.record.operations) if o.eye == eye]
        return tuple(sorted(mine, key=lambda pair: pair[1].date))

    def reviews(self, eye: Eye) -> tuple[Findings, ...]:
        """The reviews of an eye since its latest operation, oldest first, up to the as-of day."""
        operations = self.operations(eye)
        since = operations[-1][1].date if operations else date.min
        until = self.as_of or date.max
        mine = [r for r in self.record.reviews if r.eye == eye and since <= r.date <= until]
        return tuple(sorted(mine, key=lambda r: (r.date, r.time or "")))


@dataclass(frozen=True)
class Answer:
    """``value`` None: not recorded. ``fields``: what the value was read from.

    ``answers`` are the fields that could settle or change it; a caution may only ever go away
    because one of them was filled in.
    """

    value: bool | None
    fields: tuple[str, ...]
    answers: tuple[str, ...]


Condition: TypeAlias = Callable[[OnePerson], Answer]


def answer(value: bool | None, *fields: str) -> Answer:
    """An answer that the fields it was read from can also change."""
    return Answer(value, fields, fields)


def any_of(answers: list[Answer]) -> Answer:
    """Yes if one says yes; else not recorded if one says that; else no. Keeps what decided."""
    values = [a.value for a in answers]
    value = True if True in values else None if None in values else False
    deciding = [a for a in answers if a.value is value]
    return Answer(value, _union(a.fields for a in deciding), _union(a.answers for a in deciding))


def all_of(answers: list[Answer]) -> Answer:
    """No if one says no; else not recorded if one says that; else yes."""
    values = [a.value for a in answers]
    value = False if False in values else None if None in values else True
    return Answer(value, _union(a.fields for a in answers), _union(a.answers for a in answers))


def _union(parts: Iterable[tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(field for part in parts for field in part))
