"""Signing: what must be so before a surgeon's signature counts, for one plan and for several."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from followup.care.act import Act, Id, Line, Password
from followup.care.hand import Hand
from followup.care.password_again import must_match
from followup.care.plans.plan_view import PlanView, load
from followup.errors import FollowupError
from followup.records.people.patients import patient
from followup.records.plans.plans import active_plan, sign_plan
from followup.said import say
from followup.typed import typed_in

MOST_AT_ONCE = 60


class Signing(Act):
    """``reason``: why, where the plan replaces one in force or the surgeon has changed it."""

    password: Password
    reason: Line = ""


class Several(Act):
    """Sign each in its own right; one that fails stops no other."""

    plans: Annotated[list[Id], Field(min_length=1, max_length=MOST_AT_ONCE)]
    password: Password


def sign_one(hand: Hand, view: PlanView, sent: Signing) -> None:
    """Sign a plan, with the password once more. Sent twice it signs once.

    Errors: ``password.wrong``, ``plan.reason``, ``plan.stale`` and those of ``sign_plan``.
    """
    if signed_by_me(hand, view):
        return
    must_match(hand, sent.password)
    try:
        _sign_checked(hand, view, sent.reason)
    except FollowupError:
        # Of two clicks at once the second may find the first one's signature at any step.
        if not _is_mine(hand, view.version.id):
            raise


def _sign_checked(hand: Hand, view: PlanView, reason: str) -> None:
    if not reason and needs_reason(hand, view):
        raise FollowupError(
            "plan.reason",
            say("no reason given"),
            where=say("reason"),
            fix=say("say why the plan in force changes"),
        )
    if _is_stale_now(hand, view):
        raise FollowupError(
            "plan.stale",
            say("the record, the protocol or the day has changed since this draft was made"),
            fix=say("make the plan again, look at it, then sign"),
        )
    # What stood in the box already was stored with words of ours before it: they stay.
    stored = reason == typed_in(view.version.reason)
    _sign(hand, view, "" if stored else reason)


def sign_several(hand: Hand, sent: Several) -> tuple[int, tuple[tuple[int, str], ...]]:
    """Sign each plan in its own right: how many are, and which are not, with what hinders them.

    Errors: ``sign.none``, ``password.wrong``.
    """
    ids = tuple(dict.fromkeys(sent.plans))[:MOST_AT_ONCE]
    if not ids:
        raise FollowupError(
            "sign.none",
            say("no plan is ticked"),
            where=say("plans"),
            fix=say("look at a plan, tick it, then sign"),
        )
    must_match(hand, sent.password)
    found = [(number, _sign_plain(hand, number)) for number in ids]
    failed = tuple((number, problem) for number, problem in found if problem)
    return len(found) - len(failed), failed


def signed_by_me(hand: Hand, view: PlanView) -> bool:
    """Whether it is in force by the signature of whoever asks."""
    return view.version.status == "active" and view.version.signed_by == hand.actor.name


def needs_reason(hand: Hand, view: PlanView) -> bool:
    """A plan that replaces a signed one needs a reason; so does one that the surgeon has edited."""
    with hand.store.read() as session:
        in_force = active_plan(session, view.version.patient_id)
    return (in_force is not None or bool(view.version.edits)) and not view.version.reason


def is_stale(hand: Hand, view: PlanView, record_number: int) -> bool:
    """Whether a draft was made from what is no longer so: record, protocol, approval or day."""
    return view.version.status == "draft" and (
        view.version.record_number != record_number
        or view.plan.protocol_hash != hand.protocol.hash
        or view.plan.approved != (hand.approved)
        or view.plan.as_of < hand.today
    )


def may_go_together(hand: Hand, view: PlanView, record_number: int) -> bool:
    """Whether a draft of somebody without a plan in force can be signed with others, as nothing about it
    needs a page of its own."""
    version = view.version
    # What somebody decided against the rules is looked at on its own page before it is signed.
    decided = any(caution.decided_by for caution in version.body.cautions)
    plain = version.body.signable and not (version.body.questions or decided or version.edits)
    return plain and is_quiet(view) and hand.approved and not is_stale(hand, view, record_number)


def is_quiet(view: PlanView) -> bool:
    """Whether nothing about the plan asks for a page of its own before it is signed.

    Uveitis, many drops a day, a high pressure risk, and any caution but a mere note do.
    """
    eyes = (view.record.patient.eyes.right, view.record.patient.eyes.left)
    many = view.protocol.review.settings.least_count
    return not (
        any(eye.uveitis for eye in eyes)
        or any(step.count >= many for course in view.plan.courses if course.eye for step in course.steps)
        or "A" in view.plan.tiers.values()
        or any(caution.level != "note" for caution in view.plan.cautions)
    )


def _sign_plain(hand: Hand, number: int) -> str:
    """Sign one plan; what hinders it in one line, or nothing."""
    try:
        view = load(hand, number)
        if not signed_by_me(hand, view):
            _sign_plainly(hand, view)
    except FollowupError as exc:
        return "" if _is_mine(hand, number) else exc.line
    return ""


def _sign_plainly(hand: Hand, view: PlanView) -> None:
    if _is_stale_now(hand, view):
        raise FollowupError(
            "plan.stale", say("made for another day or record"), fix=say("make it again, look, sign")
        )
    if needs_reason(hand, view):
        raise FollowupError(
            "plan.reason", say("it replaces a plan in force"), fix=say("sign it on its own page")
        )
    _sign(hand, view)


def _sign(hand: Hand, view: PlanView, reason: str = "") -> None:
    with hand.store.write(hand.actor, hand.now) as unit:
        sign_plan(unit, plan_id=view.version.id, reason=reason)


def _is_stale_now(hand: Hand, view: PlanView) -> bool:
    with hand.store.read() as session:
        newest = patient(session, view.version.patient_id).record_number
    return is_stale(hand, view, newest)


def _is_mine(hand: Hand, number: int) -> bool:
    try:
        return signed_by_me(hand, load(hand, number))
    except FollowupError:
        return False
