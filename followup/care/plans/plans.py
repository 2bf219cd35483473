"""A plan is made again, answered, changed back, ended."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

from pydantic import Field

from followup.care.act import Act, Id, Line
from followup.care.fields.checked import check
from followup.care.hand import Hand
from followup.care.plans.plan_view import PlanView, load
from followup.care.plans.planning import draft_plan, planned
from followup.errors import FollowupError
from followup.records.people.patients import (
    correct_record,
    newest_record,
    patient,
)
from followup.records.plans.plans import end_plan, plan, plans_of
from followup.records.views import PatientView, PlanVersion
from followup.said import say


class Ending(Act):
    """``reason``: why the plan ends before its last visit and its last drop."""

    reason: Annotated[Line, Field(min_length=1)]


class TakeBack(Act):
    """``change`` is the place of the change in ``edits``, counted from 1."""

    change: Id


def end_one(hand: Hand, view: PlanView, sent: Ending) -> None:
    """End the plan in force, or one that was made by hand. Sent twice it ends once.

    Errors: ``plan.state`` for a draft or a replaced version, those of ``end_plan``.
    """
    if view.version.status == "completed":
        return
    if view.version.status not in ("active", "on-hold"):
        raise FollowupError(
            "plan.state",
            say("only a plan in force can end"),
            where=say("plan"),
            fix=say("open the plan that is in force"),
        )
    with hand.store.write(hand.actor, hand.now) as unit:
        end_plan(unit, plan_id=view.version.id, completed=True, reason=sent.reason[:500])


def store_answers(
    hand: Hand, view: PlanView, data: dict[str, Any], *, seen: int | None = None
) -> PlanVersion:
    """Store a record with answers as the next version, and the plan made again from it.

    ``seen``: the version of the record that the person looked at; else the one the plan was made from.
    """
    record, version = check(data), view.version
    with hand.store.write(hand.actor, hand.now) as unit:
        correct_record(unit, patient_id=version.patient_id, record=record, seen=seen or version.record_number)
        return draft_plan(unit, hand, version.patient_id, reason=version.reason)


def without_change(hand: Hand, view: PlanView, sent: TakeBack) -> PlanVersion:
    """Store a draft without one of the changes of the newest plan. Error ``change.unknown``."""
    version = view.version
    if not 1 <= sent.change <= len(version.edits):
        raise FollowupError(
            "change.unknown", say("no such change"), fix=say("open the newest plan and choose one")
        )
    kept = version.edits[: sent.change - 1] + version.edits[sent.change :]
    with hand.store.write(hand.actor, hand.now) as unit:
        return draft_plan(unit, hand, version.patient_id, edits=kept, seen=version.number)


def make_again(hand: Hand, plan_id: int) -> PlanVersion:
    """Build the plan again from the newest record, protocol, calendar and day.

    Pressed twice it is made once: a draft that was made since, of the same, is the answer.
    """
    version = load(hand, plan_id).version
    with hand.store.write(hand.actor, hand.now) as unit:
        newest = plans_of(unit.session, version.patient_id)[0]
        if newest.number > version.number and newest.status == "draft":
            record = newest_record(unit.session, version.patient_id)
            if planned(unit.session, hand, record, newest.edits) == newest.body:
                return newest
        return draft_plan(unit, hand, version.patient_id, reason=version.reason)


def base_of(
    version: PlanVersion, in_force: PlanVersion | None, versions: Sequence[PlanVersion]
) -> PlanVersion | None:
    """What a draft is compared with: the plan in force, else the version before it."""
    if version.status != "draft":
        return None
    return in_force or next((one for one in versions if one.number < version.number), None)


def two_versions(hand: Hand, newer: int, older: int) -> tuple[PlanVersion, PlanVersion, PatientView]:
    """Two versions of one patient's plan. Error ``plan.unknown``, also for plans of two patients."""
    with hand.store.read() as session:
        new, old = plan(session, newer), plan(session, older)
        if new.patient_id != old.patient_id:
            raise FollowupError(
                "plan.unknown",
                say("these are plans of two patients"),
                fix=say("choose two versions of one plan"),
            )
        return new, old, patient(session, new.patient_id)
