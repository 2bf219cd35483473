"""What the patient is told beyond drops and visits, as data: how long each sentence holds, and while what.

A sentence is printed on a day only while all of it holds on that day: its last day has not passed
and every state that it names is so (``aftercare_states``). What says nothing of either holds always.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from followup.clinical.careplan import CarePlan
from followup.clinical.protocol.aftercare_states import STATES, EyeOnDay, OfEye, StateName
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.protocol.parts import ProtocolPart, Sourced
from followup.clinical.protocol.references import AskedLookRef, Names
from followup.clinical.record import Eye, Operation, Record
from followup.clinical.record.operation import Procedure

_Days = Annotated[int, Field(ge=0, le=365)]
SheetPlace = Literal["important", "paper", "ordinary", "teach-back"]


class DropHandling(Sourced):
    """Minutes and hours of putting in a drop."""

    press_minutes: int = Field(ge=1, le=10)
    press_minutes_pregnant: int = Field(ge=1, le=10)
    ointment_wait_minutes: int = Field(ge=1, le=60)
    missed_within_hours: int = Field(ge=1, le=12)


class LargeCut(Sourced):
    """From this length on (mm) a cut counts as large; unmeasured, after one of these ``techniques``."""

    cut_mm: float = Field(ge=2, le=15)
    techniques: tuple[Procedure, ...]


class Ages(ProtocolPart):
    """Years of age from which and to which a sentence is for somebody, both included."""

    least: int = Field(ge=0, le=120)
    most: int = Field(ge=0, le=120)


class Advice(Sourced):
    """One sentence.

    ``small``/``large``: its last day after a small or a large cut, counted from the operation (day 0),
    or none; one that ``ends`` in the morning is not printed on that day any more. ``when``: states
    that must all hold on the day. ``until_look``: a kind of look; once that has taken place, the
    sentence is over. ``asked``: only where a caution of the plan names it. ``sex`` and ``ages``: for
    whom alone it is.
    """

    id: Annotated[str, StringConstraints(pattern=r"^[a-z][a-z-]{1,30}$")]
    place: SheetPlace
    small: _Days | None = None
    large: _Days | None = None
    ends: Literal["evening", "morning"] = "evening"
    when: tuple[StateName, ...] = ()
    until_look: AskedLookRef | None = None
    asked: bool = False
    sex: Literal["female", "male"] | None = None
    ages: Ages | None = None

    @model_validator(mode="after")
    def _days_go_together(self) -> Advice:
        if (self.small is None) != (self.large is None):
            raise ValueError("give both small and large, or neither")
        if self.small is not None and self.large is not None and self.large < self.small:
            raise ValueError("large can't be shorter than small; correct one")
        return self

    @property
    def of_the_day(self) -> bool:
        """Whether it holds on the day of the operation alone, whatever the cut."""
        return self.large == 0

    @property
    def of_eye(self) -> bool:
        """Whether it may hold for one operated eye and not for the other."""
        return any(isinstance(STATES[name], OfEye) for name in self.when) or self.until_look is not None


@dataclass(frozen=True)
class Holding:
    """A sentence that holds on a day: for which of the operated eyes, and until when (None: no day)."""

    advice: Advice
    eyes: tuple[Eye, ...]
    until: date | None


class Aftercare(ProtocolPart):
    """All of a clinic's sentences, in the order in which the sheet gives them."""

    drops: DropHandling
    large: LargeCut
    advice: Annotated[tuple[Advice, ...], Names("id", "sentence")]

    def is_large(self, operation: Operation) -> bool:
        """Whether the longer days hold: a large, stitched, leaking or shallow eye, or one not described."""
        cut = operation.cut_mm
        technique = operation.procedure in self.large.techniques and cut is None
        return (
            (cut is not None and cut >= self.large.cut_mm)
            or technique
            or bool(operation.stitches)
            or operation.watertight is False
            or operation.chamber != "normal"
        )

    def last_day(self, advice: Advice, operation: Operation) -> date | None:
        """The last day on which ``advice`` holds, or None where no day ends it."""
        days = advice.large if self.is_large(operation) else advice.small
        return None if days is None else operation.date + timedelta(days=days)

    def holding(
        self, plan: CarePlan, record: Record, formulary: Mapping[str, Medicine], day: date
    ) -> Iterator[Holding]:
        """The sentences that hold on ``day``, each once, in order."""
        situations = [
            EyeOnDay(plan, record, formulary, day, operation) for operation in _newest(record.operations)
        ]
        for advice in self.advice:
            held = [each for each in situations if self._holds(advice, each)]
            if held:
                ends = [self.last_day(advice, each.operation) for each in held]
                eyes = tuple(each.operation.eye for each in held)
                yield Holding(advice, eyes, max((end for end in ends if end), default=None))

    def _holds(self, advice: Advice, case: EyeOnDay) -> bool:
        last = self.last_day(advice, case.operation)
        return (
            (last is None or case.day < last or (case.day == last and advice.ends == "evening"))
            and (not advice.asked or case.names(advice.id))
            and not (advice.until_look and case.looked(advice.until_look))
            and (advice.sex is None or case.record.patient.sex == advice.sex)
            and (advice.ages is None or case.may_be_aged(advice.ages.least, advice.ages.most))
            and all(STATES[name].holds(case) for name in advice.when)
        )


def _newest(operations: tuple[Operation, ...]) -> list[Operation]:
    """The latest operation of each eye, right before left."""
    latest = {operation.eye: operation for operation in sorted(operations, key=lambda o: o.date)}
    return [latest[eye] for eye in ("right", "left") if eye in latest]
