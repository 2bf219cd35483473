"""How a patient is followed: messages agreed to, following ended and taken up again, slips taken back."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from followup.care.recording import known_patient
from followup.desks.api.base import Code, Given, Id, Line, Sent, Truth, router_of
from followup.desks.api.people import Person, person_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.reception.following import agree_messages, not_followed_lines, say_following, undo
from followup.records.desk.attempts import StandingWord
from followup.records.people.messages import Channel, message_choice

router = router_of("Reaching patients")


class Consent(Sent):
    """What the patient agrees to; ``address`` is a telephone number or a mail address."""

    consent: Truth
    reader: Literal["patient", "carer"] = "patient"
    channel: Channel = "paper"
    address: Annotated[Line, Field(max_length=200)] = ""


class ConsentOut(Given):
    """What the patient agreed to, until ``stopped_at``; ``asked`` is false where nobody has asked."""

    asked: bool
    consent: bool
    reader: Literal["patient", "carer"]
    channel: Channel
    address: str
    stopped_at: datetime | None


class Following(Sent):
    """What the desk heard of a patient."""

    standing: Literal["followed", "moved away", "died"]
    reason: Annotated[Line, Field(min_length=1)]


class NotFollowedOut(Given):
    patient: Person
    standing: StandingWord
    since: datetime
    by: str
    reason: str


class Entry(Sent):
    """What is taken back."""

    entry: Id


@router.get("/patients/{code}/messages")
def consent(hand: AnyHand, code: Code) -> ConsentOut:
    """What the patient agreed to be sent."""
    return _consent(hand, known_patient(hand, code).id)


@router.put("/patients/{code}/messages")
def agree(hand: AnyHand, code: Code, sent: Consent) -> ConsentOut:
    """Write down what the patient agrees to."""
    agree_messages(
        hand,
        code,
        answer="yes" if sent.consent else "no",
        reader=sent.reader,
        channel=sent.channel,
        address=sent.address,
    )
    return _consent(hand, known_patient(hand, code).id)


@router.delete("/patients/{code}/messages", status_code=204)
def stop(hand: AnyHand, code: Code) -> None:
    """The patient wants no more messages; what waits does not go out either."""
    agree_messages(hand, code, answer="stop", reader="patient", channel="paper", address="")


@router.post("/patients/{code}/following", status_code=204)
def following(hand: AnyHand, code: Code, sent: Following) -> None:
    """Moved away, died, or followed again."""
    say_following(hand, code, sent.standing, sent.reason)


@router.get("/not-followed")
def not_followed(hand: AnyHand) -> list[NotFollowedOut]:
    """Everybody who is not followed any more, and why."""
    return [
        NotFollowedOut(
            patient=person_of(line.who, hand.today),
            standing=line.standing.standing,
            since=line.standing.since,
            by=line.standing.by,
            reason=line.standing.reason,
        )
        for line in not_followed_lines(hand)
    ]


@router.post("/patients/{code}/take-back", status_code=204)
def take_back(hand: AnyHand, code: Code, sent: Entry) -> None:
    """Take back what was noted today by mistake; the patient's ``noted`` names it."""
    undo(hand, code, sent.entry)


def _consent(hand: DeskHand, patient_id: int) -> ConsentOut:
    with hand.store.read() as session:
        found = message_choice(session, patient_id)
    if found is None:
        return ConsentOut(
            asked=False, consent=False, reader="patient", channel="paper", address="", stopped_at=None
        )
    return ConsentOut(
        asked=True,
        consent=found.consent,
        reader=found.reader,
        channel=found.channel,
        address=found.address,
        stopped_at=found.stopped_at,
    )
