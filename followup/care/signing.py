"""Signing: what must be so before a surgeon's signature counts, for one plan and for several."""

from __future__ import annotations

from collections.abc import Iterable

from followup.care.hand import Visit
from followup.care.password_again import must_match
from followup.care.plan_view import PlanView, load
from followup.errors import FollowupError
from followup.records.people.patients import patient
from followup.records.plans.plans import active_plan, sign_plan
from followup.said import say
from followup.typed import typed_in

MOST_AT_ONCE = 60


def sign_one(visit: Visit, view: PlanView, *, password: str, reason: str) -> None:
    """Sign a plan, with the password once more. Sent twice it signs once.

    Errors: ``password.wrong``, ``plan.reason``, ``plan.stale`` and those of ``sign_plan``.
    """
    if signed_by_me(visit, view):
        return
    must_match(visit, password)
    try:
        _sign_checked(visit, view, reason)
    except FollowupError:
        # Of two clicks at once the second may find the first one's signature at any step.
        if not _is_mine(visit, view.version.id):
            raise


def _sign_checked(visit: Visit, view: PlanView, reason: str) -> None:
    if not reason and needs_reason(visit, view):
        raise FollowupError(
            "plan.reason",
            say("no reason given"),
            where=say("reason"),
            fix=say("say why the plan in force changes"),
        )
    if _is_stale_now(visit, view):
        raise FollowupError(
            "plan.stale",
            say("the record, the protocol or the day has changed since this draft was made"),
            fix=say("make the plan again, look at it, then sign"),
        )
    # What stood in the box already was stored with words of ours before it: they stay.
    stored = reason == typed_in(view.version.reason)
    _sign(visit, view, "" if stored else reason)


def sign_several(
    visit: Visit, plans: Iterable[int], *, password: str
) -> tuple[int, tuple[tuple[int, str], ...]]:
    """Sign each plan in its own right: how many are, and which are not, with what hinders them.

    Errors: ``sign.none``, ``password.wrong``.
    """
    ids = tuple(dict.fromkeys(plans))[:MOST_AT_ONCE]
    if not ids:
        raise FollowupError(
            "sign.none",
            say("no plan is ticked"),
            where=say("plans"),
            fix=say("look at a plan, tick it, then sign"),
        )
    must_match(visit, password)
    found = [(number, _sign_plain(visit, number)) for number in ids]
    failed = tuple((number, problem) for number, problem in found if problem)
    return len(found) - len(failed), failed


def signed_by_me(visit: Visit, view: PlanView) -> bool:
    """Whether it is in force by the signature of whoever asks."""
    return view.version.status == "active" and view.version.signed_by == visit.actor.name


def needs_reason(visit: Visit, view: PlanView) -> bool:
    """A plan that replaces a signed one needs a reason; so does one that the surgeon has edited."""
    with visit.desk.store.read() as session:
        in_force = active_plan(session, view.version.patient_id)
    return (in_force is not None or bool(view.version.edits)) and not view.version.reason


def is_stale(visit: Visit, view: PlanView, record_number: int) -> bool:
    """Whether a draft was made from what is no longer so: record, protocol, approval or day."""
    return view.version.status == "draft" and (
        view.version.record_number != record_number
        or view.plan.protocol_hash != visit.desk.protocol.hash
        or view.plan.approved != (visit.signature is not None)
        or view.plan.as_of < visit.today
    )


def _sign_plain(visit: Visit, number: int) -> str:
    """Sign one plan; what hinders it in one line, or nothing."""
    try:
        view = load(visit, number)
        if not signed_by_me(visit, view):
            _sign_plainly(visit, view)
    except FollowupError as exc:
        return "" if _is_mine(visit, number) else exc.line
    return ""


def _sign_plainly(visit: Visit, view: PlanView) -> None:
    if _is_stale_now(visit, view):
        raise FollowupError(
            "plan.stale", say("made for another day or record"), fix=say("make it again, look, sign")
        )
    if needs_reason(visit, view):
        raise FollowupError(
            "plan.reason", say("it replaces a plan in force"), fix=say("sign it on its own page")
        )
    _sign(visit, view)


def _sign(visit: Visit, view: PlanView, reason: str = "") -> None:
    with visit.desk.store.write(visit.actor, visit.now) as unit:
        sign_plan(unit, plan_id=view.version.id, reason=reason)


def _is_stale_now(visit: Visit, view: PlanView) -> bool:
    with visit.desk.store.read() as session:
        newest = patient(session, view.version.patient_id).record_number
    return is_stale(visit, view, newest)


def _is_mine(visit: Visit, number: int) -> bool:
    try:
        return signed_by_me(visit, load(visit, number))
    except FollowupError:
        return False
