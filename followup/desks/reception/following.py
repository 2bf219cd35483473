"""How a person is followed: messages agreed to or stopped, who is not followed any more, slips taken back."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from followup.care.reach import following
from followup.care.reach.following import Consent, Entry, Following
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.pages import show
from followup.desks.page.patient_page import then_patient
from followup.desks.page.posted import AForm, Posted, act_of, first, number_of
from followup.errors import FollowupError
from followup.records.desk.attempts import no_reason
from followup.records.desk.taking_back import not_any_more
from followup.said import say

router = APIRouter()


@router.get("/not-followed")
def not_followed(request: Request, hand: AnyHand) -> Response:
    return show(request, "not-followed.html", lines=following.not_followed(hand))


@router.post("/patients/{code}/following")
def change_following(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """Moved away, died, or followed again."""
    return then_patient(
        request, hand, code, form, lambda: following.say_following(hand, code, _following(form))
    )


def _following(form: Posted) -> Following:
    no_word = FollowupError(
        "standing.word",
        say("not said what became of the patient"),
        where=say("standing"),
        fix=say("choose one of them"),
    )
    sent = {name: first(form, name) for name in ("standing", "reason")}
    return act_of(Following, sent, standing=no_word, reason=no_reason())


@router.post("/patients/{code}/messages")
def change_messages(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """What the patient said about messages."""
    return then_patient(request, hand, code, form, lambda: _choose(hand, code, form))


def _choose(hand: DeskHand, code: str, form: Posted) -> None:
    """Yes, no, or stop: nothing that waits goes out either. Error ``messages.answer``."""
    answer = first(form, "answer")
    if answer not in ("yes", "no", "stop"):
        raise FollowupError(
            "messages.answer",
            say("not said what the patient wants"),
            where=say("answer"),
            fix=say("choose one of them"),
        )
    if answer == "stop":
        following.stop(hand, code)
        return
    how = {name: text for name in ("reader", "channel", "address") if (text := first(form, name))}
    sent = {"consent": True, **how} if answer == "yes" else {"consent": False}
    following.agree(hand, code, act_of(Consent, sent, channel=following.no_way()))


@router.post("/patients/{code}/take-back")
def take_step_back(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """Take back what was noted today by mistake."""
    return then_patient(request, hand, code, form, lambda: following.undo(hand, code, _entry(form)))


def _entry(form: Posted) -> Entry:
    return act_of(Entry, {"entry": number_of(first(form, "entry"))}, entry=not_any_more())
