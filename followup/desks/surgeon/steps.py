"""Changing the steps of a course: the effect is said first, then stored as a draft to sign."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from fastapi import APIRouter, Request, Response

from followup.care.adjusting import both_plans, joined
from followup.care.plan_view import PlanView, load, steps_left, view_of
from followup.care.planning import draft_plan
from followup.clinical.careplan import Course, CourseEdit
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.effect import effect_or_nothing
from followup.desks.page.meanwhile import CHANGED, Meanwhile, meanwhile
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, first
from followup.errors import FollowupError
from followup.records.people.patients import patient
from followup.records.views import PlanVersion
from followup.said import say
from followup.typed import typed

router = APIRouter()
SPARE_ROWS = 3
MOST_STEPS = 24
MOST_A_DAY = 24
MOST_DAYS = 400


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
    chosen = _course(view, course)
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
    chosen = _course(view, typed.course)
    try:
        if "store" not in form:
            lines = effect_of_steps(hand, view, typed)
            return _page(request, hand, view, chosen, typed, effect_lines=lines)
        made = store_steps(hand, view, typed)
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
    chosen = _course(newest, typed.course)
    return _page(request, hand, newest, chosen, typed, error=exc.line, since=found, status=status_of(exc))


def store_steps(hand: DeskHand, view: PlanView, typed: StepsForm) -> PlanVersion:
    """Store the change as a draft that waits for the signature."""
    edits = joined(view.version.edits, (_edit(typed, _course(view, typed.course), hand),))
    with hand.store.write(hand.actor, hand.now) as unit:
        return draft_plan(
            unit,
            hand,
            view.version.patient_id,
            edits=edits,
            reason=typed.reason,
            seen=view.version.number,
        )


def effect_of_steps(hand: DeskHand, view: PlanView, typed: StepsForm) -> tuple[str, ...]:
    """What the change does, in sentences, against the plan on the page made again for today."""
    edits = joined(view.version.edits, (_edit(typed, _course(view, typed.course), hand),))
    plans = both_plans(hand, view.version.patient_id, view.version.id, view.version.edits, edits)
    return effect_or_nothing(plans, hand.texts, hand.protocol)


def _edit(typed: StepsForm, course: Course, hand: DeskHand) -> CourseEdit:
    starts = _starts(typed.starts, course, hand.today)
    rows = [(c, d) for c, d in zip(typed.counts, typed.days, strict=False) if c or d]
    if len(rows) > MOST_STEPS:
        raise FollowupError(
            "steps.many",
            say("more than {most_steps} steps", most_steps=MOST_STEPS),
            where=say("steps"),
            fix=say("join some"),
        )
    steps = tuple(
        (
            _number(count, say("step {number}, times a day", number=i), MOST_A_DAY),
            _number(days, say("step {number}, days", number=i), MOST_DAYS),
        )
        for i, (count, days) in enumerate(rows, 1)
    )
    if not typed.reason:
        raise FollowupError(
            "steps.reason", say("no reason given"), where=say("reason"), fix=say("say why the steps change")
        )
    return CourseEdit(
        course=course.key,
        starts=starts,
        steps=steps,
        reason=typed.reason[:500],
        by=hand.actor.name or hand.actor.login,
    )


def _starts(text: str, course: Course, today: date) -> date:
    try:
        starts = date.fromisoformat(text)
    except ValueError:
        raise FollowupError(
            "steps.day", say("not a day"), where=say("from"), fix=say("write YYYY-MM-DD")
        ) from None
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
    return starts


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


def _course(view: PlanView, key: str) -> Course:
    found = next((c for c in view.plan.courses if c.key == key), None)
    if found is None or not view.changeable(found):
        raise FollowupError(
            "course.unknown",
            say("this course has no steps to change here"),
            fix=say("open the newest plan and choose a course"),
        )
    return found


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
