"""Reaching those who did not come: the call with its words in the patient's language, and its outcome."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from typing import NamedTuple

from fastapi import APIRouter, Request, Response

from followup.care.reach.reach import Attempt, attempt, days_to_promise, reach_item, script_of
from followup.clinical.protocol.recall import OUTCOMES, Way
from followup.clinical.record import Phone
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.brief_reason import brief_reason
from followup.desks.page.noted import SAID, noted_today
from followup.desks.page.pages import go, show
from followup.desks.page.parts import Whole, part
from followup.desks.page.posted import AForm, Posted, act_of, first
from followup.errors import FollowupError
from followup.language.catalogues import N_, choose
from followup.recall.reach.line import ToReach
from followup.recall.reach.worklist import reason, worklist
from followup.records.desk.attempts import attempts_on, count_not_followed
from followup.records.people.patients import names_of_several, patients_by_id
from followup.records.plans.sheets import sheets_of_plans
from followup.records.views import SheetView
from followup.said import say

router = APIRouter()
WAYS: dict[Way, str] = {
    "call": N_("Call the patient"),
    "second contact": N_("Call the second contact"),
    "community worker": N_("Send the community worker"),
    "surgeon": N_("Tell the surgeon"),
}


class _Line(NamedTuple):
    """A person to reach: why, in a few words and in whole sentences, and the sheet to hand over."""

    item: ToReach
    brief: str
    why: str
    sheet: SheetView | None


@router.get("/to-reach")
def to_reach(request: Request, hand: AnyHand, whole: Whole = "") -> Response:
    """Whom to reach now, whom later, and what was tried today."""
    with hand.store.read() as session:
        items = worklist(session, hand.now, hand.protocol.recall)
        tried = {one.patient_id for one in attempts_on(session, hand.today)}
        people = {who.code: who for who in patients_by_id(session, tried).values()}
        noted = noted_today(session, hand, people, {"tried to reach"})
        gone = count_not_followed(session)
        now = part("now", (item for item in items if not item.waits), whole)
        later = part("later", (item for item in items if item.waits), whole)
        shown = (*now.lines, *later.lines)
        several = names_of_several(session, [item.patient for item in shown])
        sheets = sheets_of_plans(session, [item.plan_id for item in shown if item.kind == "new version"])
    return show(
        request,
        "to-reach.html",
        now=now.filled(lambda item: _line(hand, item, sheets)),
        later=later.filled(lambda item: _line(hand, item, sheets)),
        several=several,
        ways=WAYS,
        noted=[(one, people[one.code]) for one in noted],
        gone=gone,
        said=SAID,
    )


def _line(hand: DeskHand, item: ToReach, sheets: Mapping[int, SheetView]) -> _Line:
    """``sheets``: by plan the printed sheet that is not in the patient's hands yet."""
    why = reason(item, hand.texts.translator, hand.today.year)
    return _Line(item, brief_reason(hand, item), why, sheets.get(item.plan_id))


@router.get("/patients/{code}/call")
def call_page(request: Request, hand: AnyHand, code: str, first_number: bool = False) -> Response:
    """The call; ``first_number``: the button of the telephone number that stands first was pressed.

    The number itself stands in no address: those are kept in histories.
    """
    item = reach_item(hand, code)
    number = item.telephones[0].number if first_number and item.telephones else ""
    return _page(request, hand, item, number=number)


@router.post("/patients/{code}/call")
def note_call(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """Write down what came of it; the ladder says what is next."""
    item = reach_item(hand, code)
    try:
        attempt(hand, code, _attempt(form))
    except FollowupError as exc:
        typed = {"note": first(form, "note"), "number": first(form, "number")}
        return _page(request, hand, item, error=exc.line, status=status_of(exc), **typed)
    return go("/to-reach")


def _attempt(form: Posted) -> Attempt:
    sent = {name: first(form, name) for name in ("way", "outcome", "nonce", "number")}
    if will_come := first(form, "will-come"):
        # The button of a day says both that the patient comes, and when.
        sent["outcome"], form["promised"] = "will come", [will_come]
    promised = first(form, "promised") if sent["outcome"] == "will come" else ""
    not_said = FollowupError(
        "attempt.outcome", say("not said what came of it"), fix=say("press one of the outcomes")
    )
    no_day = FollowupError(
        "attempt.promised", say("not a day"), where=say("promised day"), fix=say("choose one of the days")
    )
    return act_of(
        Attempt,
        sent | {"promised": promised or None, "note": first(form, "note")[:500]},
        way=not_said,
        outcome=not_said,
        nonce=not_said,
        promised=no_day,
    )


def _phones(item: ToReach, way: Way) -> tuple[Phone, ...]:
    """The numbers that this way may try, those that it asks for first; none where nobody is called."""
    if way not in ("call", "second contact"):
        return ()
    return tuple(sorted(item.telephones, key=lambda phone: (phone.whose == "own") != (way == "call")))


def _page(
    request: Request,
    hand: DeskHand,
    item: ToReach,
    *,
    error: str | None = None,
    status: int = 200,
    note: str = "",
    number: str = "",
) -> Response:
    """The call. ``number``: which of the telephone numbers is being tried."""
    way, script, tag, own = script_of(hand, item)
    with hand.store.read() as session:
        days = days_to_promise(session, hand, item)
    return show(
        request,
        "call.html",
        status=status,
        item=item,
        who=item.patient,
        brief=brief_reason(hand, item),
        why=reason(item, hand.texts.translator, hand.today.year),
        way=way,
        ways=WAYS,
        outcomes=OUTCOMES[way],
        said=SAID,
        days=days,
        script=script,
        script_language=tag,
        own_script=own if own != script else "",
        own_language=choose(hand.language).language.tag,
        phones=_phones(item, way),
        number=number,
        script_direction=choose(tag).language.direction,
        nonce=secrets.token_urlsafe(24),
        error=error,
        note=note,
    )
