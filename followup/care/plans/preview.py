"""What a record would lead to, at a glance while it is typed; nothing is stored."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from followup.care.hand import Hand
from followup.care.plans.plan_view import PlanView
from followup.clinical.careplan import CarePlan, FactUse, Reason
from followup.clinical.plan.build import build_plan
from followup.clinical.record import Record
from followup.drawings.staircase import Staircase, build_staircase
from followup.records.people.oplist import EyeCheck, check_against_list
from followup.records.store.store import Session
from followup.records.trips.places import planning_calendar
from followup.records.views import PlanVersion


@dataclass(frozen=True)
class Glance:
    """A plan that would be drafted, or the first thing that hinders it. ``facts``: those used, once.

    ``needs``: all that hinders it, each with its field's name and label and what is wrong with it.
    """

    problem: str = ""
    needs: tuple[tuple[str, str, str], ...] = ()
    view: PlanView | None = None
    stairs: Staircase | None = None
    facts: tuple[FactUse, ...] = ()
    listed: tuple[EyeCheck, ...] = ()


def glance_of(hand: Hand, record: Record) -> Glance:
    """The plan of ``record`` as of today, without what the clinic has already promised.

    Errors: those of the plan.
    """
    with hand.store.read() as session:
        plan = _plan(hand, record, session)
        listed = check_against_list(session, record)
    version = _as_version(hand, record, plan)
    view = PlanView(version, record, hand.protocol, hand.today)
    stairs = build_staircase(plan, mirrored=hand.mirrored)
    return Glance(view=view, stairs=stairs, facts=tuple(dict.fromkeys(_facts(plan))), listed=listed)


def _plan(hand: Hand, record: Record, session: Session) -> CarePlan:
    return build_plan(
        record,
        hand.protocol,
        as_of=max(hand.today, record.last_operation_day),
        calendar=planning_calendar(session),
        approved=hand.approved,
    )


def _facts(plan: CarePlan) -> Iterator[FactUse]:
    for reason in _reasons(plan):
        yield from reason.facts


def _reasons(plan: CarePlan) -> Iterator[Reason]:
    for part in (plan.refused, plan.questions, plan.cautions, plan.courses, plan.needs):
        for line in part:
            yield from line.reasons


def _as_version(hand: Hand, record: Record, plan: CarePlan) -> PlanVersion:
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
        drafted_by=hand.actor.login,
        drafted_at=hand.now,
        signed_by=None,
        signed_at=None,
        ended_at=None,
        ended_reason=None,
        replaced_by=None,
    )
