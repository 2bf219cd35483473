"""How a person is followed: messages agreed to or stopped, who is not followed any more, slips taken back."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.pages import show
from followup.desks.page.patient_page import then_patient
from followup.desks.page.posted import AForm, first, number_of
from followup.errors import FollowupError
from followup.records.desk.attempts import FollowStanding, StandingWord, set_standing, standings
from followup.records.desk.taking_back import take_back
from followup.records.people.messages import MessageChoice, choose_messages, message_choice, stop_messages
from followup.records.people.patients import known, patients_by_id
from followup.records.views import PatientView
from followup.said import say

router = APIRouter()
# What is said at the window or on the telephone; what else ends the following only the surgeon decides.
AT_THE_WINDOW: tuple[StandingWord, ...] = ("followed", "moved away", "died")


@dataclass(frozen=True)
class NotFollowed:
    """Somebody who is on no list any more, and why."""

    who: PatientView
    standing: FollowStanding


@router.get("/not-followed")
def not_followed(request: Request, hand: AnyHand) -> Response:
    return show(request, "not-followed.html", lines=not_followed_lines(hand))


def not_followed_lines(hand: DeskHand) -> list[NotFollowed]:
    """Everybody who is not followed any more, whoever left last first."""
    with hand.store.read() as session:
        gone = standings(session)
        people = patients_by_id(session, gone)
    lines = [NotFollowed(people[number], standing) for number, standing in gone.items() if number in people]
    return sorted(lines, key=lambda line: line.standing.since, reverse=True)


@router.post("/patients/{code}/following")
def change_following(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """Moved away, died, or followed again."""
    word, reason = first(form, "standing"), first(form, "reason")
    return then_patient(request, hand, code, form, lambda: say_following(hand, code, word, reason))


def say_following(hand: DeskHand, code: str, word: str, reason: str) -> FollowStanding:
    """Store what the desk heard. Errors: ``standing.word``, ``standing.reason``, ``standing.same``."""
    if word not in AT_THE_WINDOW:
        raise FollowupError(
            "standing.word",
            say("not said what became of the patient"),
            where=say("standing"),
            fix=say("choose one of them"),
        )
    with hand.store.write(hand.actor, hand.now) as unit:
        who = known(unit.session, code)
        return set_standing(unit, patient_id=who.id, standing=word, reason=reason)


@router.post("/patients/{code}/messages")
def change_messages(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """What the patient said about messages."""
    return then_patient(
        request,
        hand,
        code,
        form,
        lambda: agree_messages(
            hand,
            code,
            answer=first(form, "answer"),
            reader=first(form, "reader") or "patient",
            channel=first(form, "channel") or "paper",
            address=first(form, "address"),
        ),
    )


def agree_messages(
    hand: DeskHand, code: str, *, answer: str, reader: str, channel: str, address: str
) -> MessageChoice | None:
    """``answer``: yes, no, or stop (nothing that waits goes out either).

    Errors: ``messages.answer``, ``messages.way`` (not set up here), those of the store.
    """
    if answer not in ("yes", "no", "stop"):
        raise FollowupError(
            "messages.answer",
            say("not said what the patient wants"),
            where=say("answer"),
            fix=say("choose one of them"),
        )
    if answer == "yes" and channel not in hand.desk.ways_out:
        raise FollowupError(
            "messages.way",
            say("this way is not set up here"),
            where=say("channel"),
            fix=say("choose another way"),
        )
    with hand.store.write(hand.actor, hand.now) as unit:
        who = known(unit.session, code)
        if answer == "stop":
            stop_messages(unit, patient_id=who.id)
            return message_choice(unit.session, who.id)
        yes = answer == "yes"
        return choose_messages(
            unit,
            patient_id=who.id,
            consent=yes,
            reader=reader if yes else "patient",
            channel=channel if yes else "paper",
            address=address if yes else "",
        )


@router.post("/patients/{code}/take-back")
def take_step_back(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """Take back what was noted today by mistake."""
    return then_patient(request, hand, code, form, lambda: undo(hand, code, number_of(first(form, "entry"))))


def undo(hand: DeskHand, code: str, entry: int) -> None:
    """Take back the journal's ``entry`` about this patient. Error ``back.gone``."""
    with hand.store.write(hand.actor, hand.now) as unit:
        take_back(unit, patient_id=known(unit.session, code).id, entry=entry)
