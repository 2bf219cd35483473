"""A plan's page: its questions, what changes, its signature."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Request, Response
from sqlmodel import Session

from followup.clinical.careplan import CarePlan
from followup.clinical.explain import why
from followup.clinical.record import Eye
from followup.desks.answers import answer_form, asked_once, with_answers
from followup.desks.desk import AnyVisit, Visit
from followup.desks.effect import effect
from followup.desks.failures import status_of
from followup.desks.forms.sheet import FormView, RecordError, check, fill_form, with_another_row
from followup.desks.pages import go, show
from followup.desks.plan_view import PlanView, load, view_of
from followup.desks.planning import draft_plan
from followup.desks.posted import AForm, Posted, first
from followup.desks.signing import is_stale, sign_one
from followup.desks.words import Texts
from followup.errors import FollowupError
from followup.language.catalogues import offered
from followup.records.patients import correct_record, patient
from followup.records.plans import active_plan, plan, plans_of, plans_waiting_for_signature
from followup.records.sheets import sheets_of
from followup.records.views import PlanVersion
from followup.sheets.staircase import Staircase, build_staircase

router = APIRouter()


@router.get("/waiting")
def waiting(request: Request, visit: AnyVisit) -> Response:
    return waiting_page(request, visit)


def waiting_page(
    request: Request,
    visit: Visit,
    *,
    error: str | None = None,
    failed: Sequence[tuple[int, str]] = (),
    signed: int = 0,
    ticked: Sequence[int] = (),
    status: int = 200,
) -> Response:
    """Plans to sign: those with an open question after those that can be signed at once."""
    with visit.desk.store.read() as session:
        drafts = plans_waiting_for_signature(session)
        lines = [
            _waiting_line(session, visit, version)
            for version in sorted(drafts, key=lambda v: not v.body.signable)
        ]
    return show(
        request,
        "waiting.html",
        status=status,
        lines=lines,
        together=[line for line in lines if line["together"]],
        error=error,
        failed=dict(failed),
        signed=signed,
        ticked=set(ticked),
    )


def _waiting_line(session: Session, visit: Visit, version: PlanVersion) -> dict[str, Any]:
    """A plan that waits; ``together``: nothing about it needs a page of its own before it is signed."""
    who = patient(session, version.patient_id)
    view = view_of(session, visit, version)
    first_plan = active_plan(session, version.patient_id) is None
    plain = version.body.signable and not version.body.questions and first_plan and not version.edits
    return {
        "plan": version,
        "who": who,
        "view": view,
        "stairs": build_staircase(version.body),
        "together": bool(plain and visit.signature and not is_stale(visit, view, who.record_number)),
    }


@router.get("/plans/{plan}")
def plan_page(request: Request, visit: AnyVisit, plan: int) -> Response:
    return _page(request, visit, plan)


@router.post("/plans/{plan}/again")
def plan_again(visit: AnyVisit, plan: int) -> Response:
    """Build the plan again from the newest record, protocol, calendar and day."""
    return go(f"/plans/{make_again(visit, plan).id}")


@router.post("/plans/{plan}/answers")
def answer(request: Request, visit: AnyVisit, plan: int, form: AForm) -> Response:
    """Store the answers as the record's next version and build the plan again."""
    view = load(visit, plan)
    if "add" in form:
        kept = dict(answer_form(view.record).values) | form
        try:
            return _page(request, visit, plan, form=with_another_row(kept, first(form, "add"), {}))
        except KeyError:
            raise FollowupError(
                "form.add", "there is no such list in a record", fix="open the plan again"
            ) from None
    data = with_answers(view.plan.questions, view.record, form, visit.today)
    try:
        made = store_answers(visit, view, data)
    except RecordError as exc:
        typed = FormView(fill_form(data) | _cautions(form), exc.problems)
        return _page(request, visit, plan, form=typed, error=exc.line, status=422)
    except FollowupError as exc:
        typed = FormView(fill_form(data) | _cautions(form))
        return _page(request, visit, plan, form=typed, error=exc.line, status=status_of(exc))
    return go(f"/plans/{made.id}")


@router.post("/plans/{plan}/sign")
def sign(request: Request, visit: AnyVisit, plan: int, form: AForm) -> Response:
    """Sign, with the password once more. A form sent twice signs once."""
    reason = first(form, "reason")
    try:
        sign_one(visit, load(visit, plan), password=form.get("password", [""])[0], reason=reason)
    except FollowupError as exc:
        return _page(request, visit, plan, error=exc.line, status=status_of(exc), reason=reason)
    return go(f"/plans/{plan}")


def store_answers(visit: Visit, view: PlanView, data: dict[str, Any]) -> PlanVersion:
    """Store a record with answers as the next version, and the plan made again from it."""
    record, version = check(data), view.version
    with visit.desk.store.write(visit.actor, visit.now) as unit:
        correct_record(unit, patient_id=version.patient_id, record=record, seen=version.record_number)
        return draft_plan(unit, visit, version.patient_id, reason=version.reason)


def make_again(visit: Visit, plan_id: int) -> PlanVersion:
    """Build the plan again from the newest record, protocol, calendar and day."""
    version = load(visit, plan_id).version
    with visit.desk.store.write(visit.actor, visit.now) as unit:
        return draft_plan(unit, visit, version.patient_id, reason=version.reason)


def _cautions(form: Posted) -> Posted:
    """Answers to cautions as typed: they stand in no field of the record's form."""
    return {name: given for name, given in form.items() if name.startswith("caution.")}


def _page(
    request: Request,
    visit: Visit,
    plan_id: int,
    *,
    form: FormView | None = None,
    error: str | None = None,
    status: int = 200,
    reason: str = "",
) -> Response:
    with visit.desk.store.read() as session:
        view = view_of(session, visit, plan(session, plan_id))
        who = patient(session, view.version.patient_id)
        versions = plans_of(session, who.id)
        in_force = active_plan(session, who.id)
        sheets = tuple(s for s in sheets_of(session, who.id) if s.plan_id == plan_id)
    base = in_force.body if in_force and in_force.id != plan_id else None
    asked = asked_once(view.questions, view.record, visit.today)
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
        changes=_changes(visit, view, base) if base and view.version.status == "draft" else (),
        asked=asked,
        answerable=any(fields for _, fields in asked) and "surgeon" in visit.roles,
        form=form or answer_form(view.record),
        stale=is_stale(visit, view, who.record_number),
        stairs=_staircases(view),
        sheets=sheets,
        languages=[spoken.tag for spoken in offered()],
        error=error,
        reason=reason or view.version.reason,
        why=lambda name: _why(view, name),
    )


def _changes(visit: Visit, view: PlanView, base: CarePlan) -> tuple[str, ...]:
    return effect(base, view.plan, Texts(visit.language), view.medicine)


def _why(view: PlanView, name: str) -> tuple[str, ...]:
    """Where a line of the plan comes from, from the record's field on; nothing where it is not told."""
    try:
        return why(view.plan, view.protocol, name)
    except FollowupError:
        return ()


def _staircases(view: PlanView) -> list[tuple[Eye, Staircase]]:
    """The drawing of each eye that has one."""
    drawn = ((eye, build_staircase(view.plan, today=view.today, eye=eye)) for eye in view.eyes)
    return [(eye, stairs) for eye, stairs in drawn if stairs is not None]
