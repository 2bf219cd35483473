"""What a surgeon changes in a plan: the steps of a course, a course more, a look more."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from followup.clinical.plan_part import PlanPart
from followup.clinical.record.base import Eye
from followup.said import SaidText

ACount = Annotated[int, Field(ge=0, le=24)]


Days = Annotated[int, Field(ge=1, le=400)]


class CourseEdit(PlanPart):
    """A surgeon's change: from ``starts`` on, the course runs these (count a day, days) steps.

    No steps end the course on the day before; a count of 0 leaves days out.
    """

    kind: Literal["steps"] = "steps"
    course: str
    starts: date
    steps: tuple[tuple[ACount, Days], ...]
    reason: SaidText
    by: str


class CourseAdded(PlanPart):
    """A course that the surgeon adds after a review: a medicine for one eye, or by mouth (eye None)."""

    kind: Literal["course"] = "course"
    eye: Eye | None
    medicine: str
    starts: date
    steps: tuple[tuple[ACount, Days], ...]
    reason: SaidText
    by: str


class NeedAdded(PlanPart):
    """A look that the surgeon adds: ``need`` is a kind of review need of the protocol."""

    kind: Literal["look"] = "look"
    eye: Eye
    need: str
    earliest: date
    target: date
    latest: date
    reason: SaidText
    by: str


Adjustment = Annotated[CourseEdit | CourseAdded | NeedAdded, Field(discriminator="kind")]
