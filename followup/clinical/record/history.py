"""What was going on before, and what has been booked or done since."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from followup.clinical.record.base import Day, Eye, MedicineId, RecordPart, Short
from followup.said import say
from followup.timing.calendar_entries import ClockTime


class TabletStep(RecordPart):
    """From this day on, so many mg a day, as ordered by whoever tapers them."""

    starts: Day
    mg: Annotated[float, Field(ge=0, le=2000)]


class InUse(RecordPart):
    """A drop or tablet from before. ``medicine`` absent: the patient could not name it."""

    medicine: MedicineId | None = None
    described: Short | None = None
    route: Literal["eye", "mouth"] = "eye"
    eye: Literal["right", "left", "both"] | None = None
    count_a_day: Annotated[int, Field(ge=1, le=24)] | None = None
    times: tuple[ClockTime, ...] = Field(default=(), max_length=24)
    mg: Annotated[float, Field(gt=0, le=2000)] | None = None
    mg_steps: tuple[TabletStep, ...] = Field(default=(), max_length=40)
    ordered_by: Short | None = None
    continues: bool = True
    stopped_by: Short | None = None
    until: Day | None = None
    paused_on: Day | None = None
    resumes_on: Day | None = None

    @model_validator(mode="after")
    def _hangs_together(self) -> InUse:
        if self.medicine is None and self.described is None:
            raise ValueError(say("give medicine, or described when its name is not known"))
        if self.route == "eye" and self.eye is None:
            raise ValueError(say("an eye medicine needs eye: right, left or both"))
        if self.route == "mouth" and self.eye is not None:
            raise ValueError(say("a medicine by mouth has no eye; leave eye out"))
        if self.stopped_by is not None and self.continues:
            raise ValueError(say("stopped_by is named but continues is true; correct one"))
        if len({step.starts for step in self.mg_steps}) != len(self.mg_steps):
            raise ValueError(say("two steps of mg_steps start on the same day; keep one"))
        if self.until is not None and any(step.starts > self.until for step in self.mg_steps):
            raise ValueError(say("a step of mg_steps starts after until; correct one"))
        if self.resumes_on is not None and (self.paused_on is None or self.resumes_on <= self.paused_on):
            raise ValueError(say("resumes_on needs a day paused_on before it; correct one"))
        if self.times and self.count_a_day and len(self.times) != self.count_a_day:
            raise ValueError(say("times and count_a_day differ; correct one"))
        return self


def eyes_of(entry: InUse) -> tuple[Eye, ...]:
    """The eyes that a drop is used in; none for a tablet."""
    if entry.eye is None:
        return ()
    return ("right", "left") if entry.eye == "both" else (entry.eye,)


class VisitDecision(RecordPart):
    """The surgeon's word on a look that no day of its window can see, or that another clinic sees.

    ``need`` is the look as the plan names it ("right:first-look"), or the limit between two checks that
    no day can keep. On ``day`` it is looked at; without a day nothing is offered, and the gap is signed
    as it is. ``place`` names another clinic. ``earliest`` and ``latest`` are its window as it stood: where
    that is another now, the visit stands and the look is planned anew.
    """

    need: Short
    day: Day | None = None
    why: Annotated[str, StringConstraints(min_length=3, max_length=400)]
    by: Short | None = None
    place: Short | None = None
    earliest: Day | None = None
    latest: Day | None = None

    @model_validator(mode="after")
    def _hangs_together(self) -> VisitDecision:
        if self.place is not None and self.day is None:
            raise ValueError(say("a look at another clinic needs its day"))
        if (self.earliest is None) != (self.latest is None):
            raise ValueError(say("give earliest and latest together, or neither"))
        if self.earliest is not None and self.latest is not None and self.latest < self.earliest:
            raise ValueError(say("latest lies before earliest; correct one"))
        return self


class TripRecord(RecordPart):
    """A visit booked or over, in the words of FHIR R4 Appointment.status."""

    date: Day
    status: Literal["booked", "arrived", "fulfilled", "noshow", "cancelled"]
    hour: ClockTime | None = Field(None, description="the hour for which the visit is booked")
    cannot_move: bool = False
    served: tuple[Short, ...] = Field(default=(), max_length=40)
