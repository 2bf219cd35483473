"""Changing the steps of a course: the effect is said first, then stored as a draft to sign."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from fastapi import APIRouter, Request, Response

from followup.care.plans.adjusting import MOST_A_DAY, MOST_STEPS
from followup.care.plans.plan_view import PlanView, load, steps_left, view_of
from followup.care.plans.steps import (
    MOST_DAYS,
    StepOut,
    StepsChange,
    changeable_course,
    must_start,
    plans_of_steps,
    store_steps,
)
from followup.clinical.careplan import Course
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.effect import effect_or_nothing
from followup.desks.page.meanwhile import CHANGED, Meanwhile, meanwhile
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, as_typed, first
from followup.errors import FollowupError
from followup.records.people.patients import patient
from followup.said import say
from followup.typed import typed

router = APIRouter()
SPARE_ROWS = 3


@dataclass(frozen=True)
class StepsForm:
    """What the surgeon has typed, as typed."""

    course: str
    starts: str
    counts: tuple[str, ...]
    days: tuple[str, ...]
    reason: str

    @property
    def rows(self) -> tuple[tuple[str, str], ...]:
        """The typed rows and a few empty ones."""
        return (*zip(self.counts, self.days, strict=False), *((("", ""),) * SPARE_ROWS))


@router.get("/plans/{plan}/steps")
def steps_page(request: Request, hand: AnyHand, plan: int, course: str) -> Response:
    view = load(hand, plan)
    chosen = changeable_course(view, course)
    starts = _first_free_day(chosen, hand.today)
    left = steps_left(chosen, starts)
    form = StepsForm(
        course,
        starts.isoformat(),
        tuple(str(count) for count, _ in left),
        tuple(str(days) for _, days in left),
        "",
    )
    return _page(request, hand, view, chosen, form)


@router.post("/plans/{plan}/steps")
def change_steps(request: Request, hand: AnyHand, plan: int, form: AForm) -> Response:
    """Show what the change does, or store it as a draft that waits for the signature."""
    view = load(hand, plan)
    typed = _typed(form)
    chosen = changeable_course(view, typed.course)
    try:
        change = _change(hand, chosen, typed)
        if "store" not in form:
            lines = effect_or_nothing(plans_of_steps(hand, view, change), hand.texts, hand.protocol)
            return _page(request, hand, view, chosen, typed, effect_lines=lines)
        made = store_steps(hand, view, change)
    except FollowupError as exc:
        if exc.code in CHANGED:
            return _on_newest(request, hand, view, typed, exc)
        return _page(request, hand, view, chosen, typed, error=exc.line, status=status_of(exc))
    return go(f"/plans/{made.id}")


def _on_newest(
    request: Request, hand: DeskHand, view: PlanView, typed: StepsForm, exc: FollowupError
) -> Response:
    """Someone was faster: what was typed stands on the newest plan's page, with what was done meanwhile."""
    with hand.store.read() as session:
        found = meanwhile(session, hand, view.version)
        newest = view_of(session, hand, found.newest) if found else view
    chosen = changeable_course(newest, typed.course)
    return _page(request, hand, newest, chosen, typed, error=exc.line, since=found, status=status_of(exc))


def _change(hand: DeskHand, course: Course, typed: StepsForm) -> StepsChange:
    """The change that the form means. Errors: ``steps.day``, ``steps.many``, ``steps.number``."""
    try:
        starts = date.fromisoformat(typed.starts)
    except ValueError:
        raise FollowupError(
            "steps.day", say("not a day"), where=say("from"), fix=say("write day and month, such as 5 11")
        ) from None
    must_start(course, starts, hand.today)
    rows = [(c, d) for c, d in zip(typed.counts, typed.days, strict=False) if c or d]
    if len(rows) > MOST_STEPS:
        raise FollowupError(
            "steps.many",
            say("more than {most_steps} steps", most_steps=MOST_STEPS),
            where=say("steps"),
            fix=say("join some"),
        )
    steps = [
        StepOut(
            times_a_day=_number(count, say("step {number}, times a day", number=i), MOST_A_DAY),
            days=_number(days, say("step {number}, days", number=i), MOST_DAYS),
        )
        for i, (count, days) in enumerate(rows, 1)
    ]
    return as_typed(StepsChange, course=course.key, starts=starts, steps=steps, reason=typed.reason)


def _number(text: str, where: str, most: int) -> int:
    if not (text.isascii() and text.isdecimal() and 1 <= int(text) <= most):
        raise FollowupError(
            "steps.number",
            say(
                "{text} is not a whole number from 1 to {most}",
                text=typed(text) if text else say("nothing"),
                most=most,
            ),
            where=where,
            fix=say("correct it"),
        )
    return int(text)


def _typed(form: Posted) -> StepsForm:
    return StepsForm(
        first(form, "course"),
        first(form, "starts"),
        tuple(text.strip() for text in form.get("count", [])),
        tuple(text.strip() for text in form.get("days", [])),
        first(form, "reason"),
    )


def _first_free_day(course: Course, today: date) -> date:
    """Tomorrow, as today's drops may be in already; the first drop day where that is later."""
    return max(today + timedelta(days=1), course.first_day or today)


def _page(
    request: Request,
    hand: DeskHand,
    view: PlanView,
    course: Course,
    form: StepsForm,
    *,
    effect_lines: tuple[str, ...] = (),
    error: str | None = None,
    since: Meanwhile | None = None,
    status: int = 200,
) -> Response:
    with hand.store.read() as session:
        who = patient(session, view.version.patient_id)
    return show(
        request,
        "steps.html",
        status=status,
        view=view,
        who=who,
        course=course,
        form=form,
        effect=effect_lines,
        error=error,
        since=since,
    )
