"""What a record would lead to, at a glance while it is typed; nothing is stored."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from followup.care.hand import Visit
from followup.care.plan_view import PlanView
from followup.clinical.careplan import CarePlan, FactUse, Reason
from followup.clinical.plan.build import build_plan
from followup.clinical.record import Record
from followup.desks.forms.sheet import RecordError, check, read_form
from followup.desks.page.posted import Posted
from followup.drawings.staircase import Staircase, build_staircase
from followup.errors import FollowupError
from followup.records.people.oplist import EyeCheck, check_against_list
from followup.records.store.store import Session
from followup.records.trips.places import planning_calendar
from followup.records.views import PlanVersion


@dataclass(frozen=True)
class Glance:
    """A plan that would be drafted, or the first thing that hinders it. ``facts``: those used, once."""

    problem: str = ""
    view: PlanView | None = None
    stairs: Staircase | None = None
    facts: tuple[FactUse, ...] = ()
    listed: tuple[EyeCheck, ...] = ()


def glance(visit: Visit, form: Posted) -> Glance:
    """The plan of the form as it stands, as of today, without what the clinic has already promised."""
    try:
        record = check(read_form(form))
        return glance_of(visit, record)
    except (RecordError, FollowupError) as exc:
        return Glance(problem=exc.line)


def glance_of(visit: Visit, record: Record) -> Glance:
    """The same of a record that is one. Errors: those of the plan."""
    with visit.desk.store.read() as session:
        plan = _plan(visit, record, session)
        listed = check_against_list(session, record)
    version = _as_version(visit, record, plan)
    view = PlanView(version, record, visit.desk.protocol, visit.today)
    stairs = build_staircase(plan, mirrored=visit.texts.runs_left)
    return Glance("", view, stairs, tuple(dict.fromkeys(_facts(plan))), listed)


def _plan(visit: Visit, record: Record, session: Session) -> CarePlan:
    return build_plan(
        record,
        visit.desk.protocol,
        as_of=max(visit.today, record.last_operation_day),
        calendar=planning_calendar(session),
        approved=visit.signature is not None,
    )


def _facts(plan: CarePlan) -> Iterator[FactUse]:
    for reason in _reasons(plan):
        yield from reason.facts


def _reasons(plan: CarePlan) -> Iterator[Reason]:
    for part in (plan.refused, plan.questions, plan.cautions, plan.courses, plan.needs):
        for line in part:
            yield from line.reasons


def _as_version(visit: Visit, record: Record, plan: CarePlan) -> PlanVersion:
    """The plan in the shape of a stored one, so that the same words show it."""
    return PlanVersion(
        id=0,
        patient_id=0,
        patient_code=record.patient.code,
        patient_name=record.patient.name,
        number=0,
        status="draft",
        record_number=0,
        as_of=plan.as_of,
        body=plan,
        edits=(),
        reason="",
        drafted_by=visit.actor.login,
        drafted_at=visit.now,
        signed_by=None,
        signed_at=None,
        ended_at=None,
        ended_reason=None,
        replaced_by=None,
    )
