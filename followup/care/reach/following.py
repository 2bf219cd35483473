"""How a person is followed: messages agreed to or stopped, who is not followed any more, slips taken back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from followup.care.act import Act, Id, Line, Truth
from followup.care.hand import Hand
from followup.errors import FollowupError
from followup.records.channels import Channel
from followup.records.desk.attempts import FollowStanding, set_standing, standings
from followup.records.desk.taking_back import take_back
from followup.records.people.messages import MessageChoice, choose_messages, stop_messages
from followup.records.people.patients import known, patients_by_id
from followup.records.views import PatientView
from followup.said import say


class Consent(Act):
    """What the patient agrees to; ``address`` is a telephone number or a mail address."""

    consent: Truth
    reader: Literal["patient", "carer"] = "patient"
    channel: Channel = "paper"
    address: Annotated[Line, Field(max_length=200)] = ""


class Following(Act):
    """What the desk heard of a patient."""

    # What is said at the window or on the telephone; what else ends the following only the surgeon decides.
    standing: Literal["followed", "moved away", "died"]
    reason: Annotated[Line, Field(min_length=1)]


class Entry(Act):
    """What is taken back."""

    entry: Id


@dataclass(frozen=True)
class NotFollowed:
    """Somebody who is on no list any more, and why."""

    who: PatientView
    standing: FollowStanding


def agree(hand: Hand, code: str, act: Consent) -> MessageChoice:
    """What the patient said about messages. Errors: ``messages.way``, those of the store."""
    if act.consent and act.channel not in hand.ways_out:
        raise no_way()
    agreed = act if act.consent else Consent(consent=False)
    with hand.store.write(hand.actor, hand.now) as unit:
        return choose_messages(unit, patient_id=known(unit.session, code).id, **agreed.model_dump())


def no_way() -> FollowupError:
    """The error for a way to send messages that is not set up here."""
    return FollowupError(
        "messages.way",
        say("this way is not set up here"),
        where=say("channel"),
        fix=say("choose another way"),
    )


def stop(hand: Hand, code: str) -> None:
    """The patient wants no more messages; what waits does not go out either."""
    with hand.store.write(hand.actor, hand.now) as unit:
        stop_messages(unit, patient_id=known(unit.session, code).id)


def say_following(hand: Hand, code: str, act: Following) -> FollowStanding:
    """Store what the desk heard. Error ``standing.same``."""
    with hand.store.write(hand.actor, hand.now) as unit:
        who = known(unit.session, code)
        return set_standing(unit, patient_id=who.id, standing=act.standing, reason=act.reason)


def undo(hand: Hand, code: str, act: Entry) -> None:
    """Take back what the journal holds about this patient. Error ``back.gone``."""
    with hand.store.write(hand.actor, hand.now) as unit:
        take_back(unit, patient_id=known(unit.session, code).id, entry=act.entry)


def not_followed(hand: Hand) -> list[NotFollowed]:
    """Everybody who is not followed any more, whoever left last first."""
    with hand.store.read() as session:
        gone = standings(session)
        people = patients_by_id(session, gone)
    lines = [NotFollowed(people[number], standing) for number, standing in gone.items() if number in people]
    return sorted(lines, key=lambda line: line.standing.since, reverse=True)
