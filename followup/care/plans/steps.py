"""Other steps for a course: what they would make of the plan, then a draft to sign."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from pydantic import Field

from followup.care.act import Act, Line
from followup.care.hand import Hand
from followup.care.plans.adjusting import MOST_A_DAY, MOST_STEPS, both_plans, joined
from followup.care.plans.plan_view import PlanView
from followup.care.plans.planning import draft_plan
from followup.clinical.adjustments import Adjustment, CourseEdit
from followup.clinical.careplan import CarePlan, Course
from followup.clinical.record.base import Day
from followup.errors import FollowupError
from followup.records.views import PlanVersion
from followup.said import say

MOST_DAYS = 400


class StepOut(Act):
    times_a_day: Annotated[int, Field(strict=True, ge=1, le=MOST_A_DAY)]
    days: Annotated[int, Field(strict=True, ge=1, le=MOST_DAYS)]


class StepsChange(Act):
    """From ``starts`` on the course runs these steps; none end it on the day before."""

    course: Annotated[Line, Field(min_length=1)]
    starts: Day
    steps: Annotated[list[StepOut], Field(max_length=MOST_STEPS)]
    reason: Annotated[Line, Field(min_length=1)]


def store_steps(hand: Hand, view: PlanView, sent: StepsChange) -> PlanVersion:
    """Store the change as a draft that waits for the signature.

    Errors: ``course.unknown``, ``steps.day``, ``steps.reason``, those of ``draft_plan``.
    """
    edits, version = _edits(hand, view, sent), view.version
    with hand.store.write(hand.actor, hand.now) as unit:
        return draft_plan(
            unit, hand, version.patient_id, edits=edits, reason=sent.reason, seen=version.number
        )


def plans_of_steps(hand: Hand, view: PlanView, sent: StepsChange) -> tuple[CarePlan, CarePlan]:
    """The plan on the page made again for today, and what the change makes of it; nothing is stored."""
    version = view.version
    return both_plans(hand, version.patient_id, version.id, version.edits, _edits(hand, view, sent))


def changeable_course(view: PlanView, key: str) -> Course:
    """The course of the plan whose steps can be changed. Error ``course.unknown``."""
    found = next((c for c in view.plan.courses if c.key == key), None)
    if found is None or not view.changeable(found):
        raise FollowupError(
            "course.unknown",
            say("this course has no steps to change here"),
            fix=say("open the newest plan and choose a course"),
        )
    return found


def must_start(course: Course, starts: date, today: date) -> None:
    """Refuse a day on which other steps can't start any more, or not yet. Error ``steps.day``."""
    if starts < today:
        raise FollowupError(
            "steps.day",
            say("this day is over: drops of the past can't be changed"),
            where=say("from"),
            fix=say("choose today or later"),
        )
    if course.first_day and starts < course.first_day:
        raise FollowupError(
            "steps.day",
            say("this day lies before the first drop of the course"),
            where=say("from"),
            fix=say("choose {first_day} or later", first_day=course.first_day),
        )


def _edits(hand: Hand, view: PlanView, sent: StepsChange) -> tuple[Adjustment, ...]:
    """The changes of the plan with this one."""
    course = changeable_course(view, sent.course)
    must_start(course, sent.starts, hand.today)
    if not sent.reason:
        raise FollowupError(
            "steps.reason", say("no reason given"), where=say("reason"), fix=say("say why the steps change")
        )
    edit = CourseEdit(
        course=course.key,
        starts=sent.starts,
        steps=tuple((step.times_a_day, step.days) for step in sent.steps),
        reason=sent.reason[:500],
        by=hand.by,
    )
    return joined(view.version.edits, (edit,))
