"""A plan's page: its questions, what changes, its signature."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date
from functools import partial

from fastapi import APIRouter, Request, Response

from followup.care.fields.checked import RecordError
from followup.care.fields.shape import Field
from followup.care.fields.values import fill_form
from followup.care.plans.answers import (
    AnswerField,
    Answers,
    asked_fields,
    asked_once,
    field_of,
    give_answers,
    with_answers,
)
from followup.care.plans.past_looks import NOT_DONE, PAST_LOOK
from followup.care.plans.plan_table import PlanTable, plan_table
from followup.care.plans.plan_view import PlanView, load, untreated, view_of
from followup.care.plans.plans import Ending, TakeBack, base_of, end_one, make_again, without_change
from followup.care.plans.signing import Signing, is_stale, sign_one
from followup.care.sheets.content import next_look, plan_now, plans_printed, staff_language
from followup.clinical.careplan import Question
from followup.clinical.plan.keys_told import RISK
from followup.clinical.record import Eye
from followup.clinical.words.why import why
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.forms.sheet import FormView, answer_form, with_another_row
from followup.desks.page.effect import PlanWords, effect
from followup.desks.page.meanwhile import Meanwhile, meanwhile
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, answers_of, as_typed, first, number_of, password_of
from followup.desks.surgeon.at_a_glance import at_a_glance
from followup.drawings.staircase import Staircase, build_staircase
from followup.errors import FollowupError
from followup.language.catalogues import offered
from followup.records.people.patients import newest_record, patient
from followup.records.plans.plans import active_plan, plan, plans_of
from followup.records.plans.sheets import sheets_of
from followup.records.store.store import Session
from followup.records.views import PlanVersion
from followup.said import say
from followup.typed import typed_in

router = APIRouter()


@router.get("/plans/{plan}")
def plan_page(request: Request, hand: AnyHand, plan: int) -> Response:
    return _page(request, hand, plan)


@router.post("/plans/{plan}/again")
def plan_again(hand: AnyHand, plan: int) -> Response:
    """Build the plan again from the newest record, protocol, calendar and day."""
    return go(f"/plans/{make_again(hand, plan).id}")


@router.post("/plans/{plan}/answers")
def answer(request: Request, hand: AnyHand, plan: int, form: AForm) -> Response:
    """Store the answers as the record's next version and build the plan again."""
    view = load(hand, plan)
    if "add" in form:
        kept = dict(answer_form(view.record).values) | form
        try:
            return _page(request, hand, plan, form=with_another_row(kept, first(form, say("add")), {}))
        except KeyError:
            raise FollowupError(
                "form.add", say("there is no such list in a record"), fix=say("open the plan again")
            ) from None
    with hand.store.read() as session:
        record = newest_record(session, view.version.patient_id).record
    fields = asked_fields(view.plan.questions, record, hand.today, view.plan.needs)
    answers = {name: given for name, given in answers_of(form).items() if field_of(name, fields)}
    typed = FormView(dict(answer_form(record).values) | form)
    try:
        data = with_answers(view.plan.questions, record, answers, hand.today, view.plan.needs)
        typed = FormView(fill_form(data) | _by_name(form))
        made = give_answers(
            hand, view, as_typed(Answers, answers=answers, seen=number_of(first(form, "seen")))
        )
    except RecordError as exc:
        typed = replace(typed, problems=exc.problems)
        return _page(request, hand, plan, form=typed, error=exc.line, status=422)
    except FollowupError as exc:
        return on_newest(request, hand, view, exc, form=typed)
    return go(f"/plans/{made.id}")


@router.post("/plans/{plan}/take-back")
def take_back(request: Request, hand: AnyHand, plan: int, form: AForm) -> Response:
    """Make the draft without one of the surgeon's changes; like every change it waits for the signature."""
    view = load(hand, plan)
    try:
        made = without_change(hand, view, as_typed(TakeBack, change=number_of(first(form, "change"))))
    except FollowupError as exc:
        return on_newest(request, hand, view, exc)
    return go(f"/plans/{made.id}")


@router.post("/plans/{plan}/sign")
def sign(request: Request, hand: AnyHand, plan: int, form: AForm) -> Response:
    """Sign, with the password once more. A form sent twice signs once."""
    reason, view = first(form, "reason"), load(hand, plan)
    try:
        sign_one(hand, view, as_typed(Signing, password=password_of(form), reason=reason))
    except FollowupError as exc:
        return on_newest(request, hand, view, exc, reason=reason)
    return go(f"/plans/{plan}")


@router.post("/plans/{plan}/end")
def end(request: Request, hand: AnyHand, plan: int, form: AForm) -> Response:
    """The surgeon ends a plan, with a reason; its open visits are cancelled."""
    view = load(hand, plan)
    try:
        end_one(hand, view, as_typed(Ending, reason=first(form, "end_reason")))
    except FollowupError as exc:
        return on_newest(request, hand, view, exc)
    return go(f"/plans/{plan}")


def on_newest(
    request: Request,
    hand: DeskHand,
    view: PlanView,
    exc: FollowupError,
    *,
    form: FormView | None = None,
    reason: str = "",
    decision: Posted | None = None,
) -> Response:
    """What was typed, on the page of the newest version, with what others did meanwhile said first."""
    with hand.store.read() as session:
        found = meanwhile(session, hand, view.version)
    number = found.newest.id if found else view.version.id
    return _page(
        request,
        hand,
        number,
        form=form,
        error=exc.line,
        since=found,
        reason=reason,
        decision=decision,
        status=status_of(exc),
    )


def _by_name(form: Posted) -> Posted:
    """Answers to cautions and about looks as typed: they stand in no field of the record's form."""
    return {name: given for name, given in form.items() if name.startswith(("caution.", PAST_LOOK))}


def _page(
    request: Request,
    hand: DeskHand,
    plan_id: int,
    *,
    form: FormView | None = None,
    error: str | None = None,
    since: Meanwhile | None = None,
    status: int = 200,
    reason: str = "",
    decision: Posted | None = None,
) -> Response:
    with hand.store.read() as session:
        view = view_of(session, hand, plan(session, plan_id))
        who = patient(session, view.version.patient_id)
        record = newest_record(session, who.id)
        versions = plans_of(session, who.id)
        in_force = active_plan(session, who.id)
        sheets = tuple(s for s in sheets_of(session, who.id) if s.plan_id == plan_id)
        since = since or meanwhile(session, hand, view.version)
        table = drawn_table(session, hand, view.version)
        look = next_look(session, view.record, who.id)
    base = base_of(view.version, in_force, versions)
    asked = asked_once(view.questions, record.record, hand.today, view.plan.needs)
    return show(
        request,
        "plan.html",
        status=status,
        view=view,
        plan=view.plan,
        version=view.version,
        who=who,
        newest=versions[0],
        versions=versions,
        in_force=in_force,
        record=record,
        since=since,
        base=base,
        changes=changes_of(hand, view, base),
        asked=asked,
        form=replace(form or answer_form(record.record), usual=hand.protocol.routine.typed),
        stale=is_stale(hand, view, who.record_number),
        untreated=untreated(view, record.record),
        glance=at_a_glance(view, hand.texts),
        table=table,
        stairs=_staircases(view, hand.texts.runs_left),
        sheets=sheets,
        look=look,
        risks=RISK,
        past_days={key: date.fromisoformat(key) for key in _offered(asked)},
        languages=(tags := [spoken.tag for spoken in offered()]),
        twins=sorted(tags, key=lambda tag: tag != staff_language(hand)),
        error=error,
        reason=reason or typed_in(view.version.reason),
        why=lambda name: _why(view, name),
        decision={name: first(decision or {}, name) for name in ("need", "day", "why", "place")},
    )


def _offered(asked: Iterable[tuple[Question, tuple[AnswerField, ...]]]) -> Iterator[str]:
    """The days that are offered as answers."""
    for _, fields in asked:
        for field in fields:
            if field.look and isinstance(field.member, Field):
                yield from (key for key in field.member.choices if key != NOT_DONE)


def changes_of(hand: DeskHand, view: PlanView, base: PlanVersion | None) -> tuple[str, ...]:
    """What a draft does against what it is compared with, in sentences; nothing where there is none."""
    if base is None:
        return ()
    return effect(base.body, view.plan, PlanWords(hand.texts, hand.protocol))


def drawn_table(session: Session, hand: DeskHand, version: PlanVersion) -> PlanTable:
    """The table of a plan, its visits as they stand, with the letters of the patient's sheets."""
    printed = plans_printed(session, version.patient_id)
    return plan_table(plan_now(session, version), hand.protocol.formulary, printed)


def _why(view: PlanView, name: str) -> tuple[str, ...]:
    """Where a line of the plan comes from, from the record's field on; nothing where it is not told."""
    try:
        return why(view.plan, view.protocol, name, traced=False)
    except FollowupError:
        return ()


def _staircases(view: PlanView, mirrored: bool) -> list[tuple[Eye, Staircase]]:
    """The drawing of each eye that has one."""
    draw = partial(build_staircase, view.plan, today=view.today, mirrored=mirrored)
    drawn = ((eye, draw(eye=eye)) for eye in view.eyes)
    return [(eye, stairs) for eye, stairs in drawn if stairs is not None]
