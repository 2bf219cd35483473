"""Looks that no offered day can see: a day is taken with a reason, and the plan is made again."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any

from pydantic import StringConstraints

from followup.care.act import Act, Line, Number
from followup.care.hand import Hand
from followup.care.plans.plan_view import PlanView
from followup.care.plans.plans import store_answers
from followup.clinical.careplan import CarePlan, Impossible, ReviewNeed
from followup.errors import FollowupError
from followup.records.people.patients import newest_record
from followup.records.views import PlanVersion
from followup.said import say


class Decision(Act):
    """What is decided of the look ``need`` that no offered day can see: a ``day`` offered before or after,
    or none where none is offered. With ``place`` another clinic looks on that day, also where this one
    could. ``seen`` is the version of the record that it was made from."""

    seen: Number
    need: Line
    day: date | None = None
    why: Line
    place: Annotated[str, StringConstraints(strip_whitespace=True, max_length=120)] = ""


class DecisionBack(Act):
    """Which decision is taken back: its look and its day."""

    seen: Number
    need: Line
    day: date | None = None


def decide(hand: Hand, view: PlanView, chosen: Decision) -> PlanVersion:
    """Decide a look and build the plan again.

    Errors: ``decision.need``, ``decision.day``, ``decision.why``, those of the record and of the plan.
    """
    if len(chosen.why) < 3:
        raise FollowupError(
            "decision.why",
            say("no reason given"),
            where=say("why"),
            fix=say("say why the look is on this day"),
        )
    record = _record(hand, view)
    limits = {gap.key for gap in view.plan.gaps}
    kept = [one for one in record.get("decisions", []) if not _replaced(one, chosen, limits)]
    entry = {"need": chosen.need, "why": chosen.why, "by": hand.by}
    if chosen.day is not None:
        entry["day"] = chosen.day.isoformat()
    if chosen.place:
        entry["place"] = chosen.place
    entry |= _window(view.plan, chosen)
    return store_answers(hand, view, record | {"decisions": [*kept, entry]}, seen=chosen.seen)


def undecide(hand: Hand, view: PlanView, sent: DecisionBack) -> PlanVersion:
    """Take a decision back and build the plan again. Error ``decision.need``."""
    record = _record(hand, view)
    told = None if sent.day is None else sent.day.isoformat()
    there = record.get("decisions", [])
    kept = [one for one in there if (one["need"], one.get("day")) != (sent.need, told)]
    if len(kept) == len(there):
        raise _unknown(sent.need)
    return store_answers(hand, view, record | {"decisions": kept}, seen=sent.seen)


def _record(hand: Hand, view: PlanView) -> dict[str, Any]:
    with hand.store.read() as session:
        record = newest_record(session, view.version.patient_id).record
    return record.model_dump(mode="json", exclude_none=True)


def _replaced(entry: Mapping[str, Any], chosen: Decision, limits: set[str]) -> bool:
    """An earlier decision on the same look gives way; one on another stretch of the same limit does not."""
    same_day = entry.get("day") == (chosen.day.isoformat() if chosen.day else None)
    return bool(entry["need"] == chosen.need and (same_day or chosen.need not in limits))


def _window(plan: CarePlan, chosen: Decision) -> dict[str, str]:
    """The window that is decided on, checked against the days that are offered."""
    item = next((one for one in plan.impossible if one.need == chosen.need and _offers(one, chosen)), None)
    if item is not None:
        return _days(item.earliest, item.latest)
    if any(one.need == chosen.need for one in plan.impossible):
        raise FollowupError(
            "decision.day",
            say("this day is not one of those offered"),
            where=say("day"),
            fix=say(
                "choose the day before or after; only where there is neither can the gap be signed as it is"
            ),
        )
    if not chosen.place:
        raise _unknown(chosen.need)
    return _elsewhere(plan, chosen)


def _offers(item: Impossible, chosen: Decision) -> bool:
    if chosen.day is None:
        return item.before is None and item.after is None
    return bool(chosen.place) or chosen.day in (item.before, item.after)


def _elsewhere(plan: CarePlan, chosen: Decision) -> dict[str, str]:
    """Another clinic sees a look that has days here too."""
    need = next((n for n in plan.needs if n.key == chosen.need and n.state == "open"), None)
    if need is None:
        raise _unknown(chosen.need)
    if chosen.day is None or not need.earliest <= chosen.day <= need.latest:
        raise FollowupError(
            "decision.day",
            say("this day lies outside the days on which the look is due"),
            where=say("day"),
            fix=say("choose a day on which it is due"),
        )
    return _days(need.earliest, need.latest) if _counts_alone(need) else {}


def _counts_alone(need: ReviewNeed) -> bool:
    """Whether its window in the plan is the rules' own: no other look and no closed day moves it."""
    return need.after is None and not any(reason.rule == "closed-days" for reason in need.reasons)


def _days(earliest: date | None, latest: date | None) -> dict[str, str]:
    if earliest is None or latest is None:
        return {}
    return {"earliest": earliest.isoformat(), "latest": latest.isoformat()}


def _unknown(need: str) -> FollowupError:
    return FollowupError(
        "decision.need",
        say("the plan has no such look to decide"),
        where=need[:60] or say("look"),
        fix=say("open the newest plan and choose there"),
    )
