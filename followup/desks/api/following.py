"""How a patient is followed: messages agreed to, following ended and taken up again, slips taken back."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from followup.care.reach import following as care
from followup.care.reach.following import Consent, Entry, Following
from followup.care.records.recording import known_patient
from followup.desks.api.base import Code, Given, router_of
from followup.desks.api.people import Person, person_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.records.channels import Channel
from followup.records.desk.attempts import StandingWord
from followup.records.people.messages import message_choice

router = router_of("Reaching patients")


class ConsentOut(Given):
    """What the patient agreed to, until ``stopped_at``; ``asked`` is false where nobody has asked."""

    asked: bool
    consent: bool
    reader: Literal["patient", "carer"]
    channel: Channel
    address: str
    stopped_at: datetime | None


class NotFollowedOut(Given):
    patient: Person
    standing: StandingWord
    since: datetime
    by: str
    reason: str


@router.get("/patients/{code}/messages")
def consent(hand: AnyHand, code: Code) -> ConsentOut:
    """What the patient agreed to be sent."""
    return _consent(hand, known_patient(hand, code).id)


@router.put("/patients/{code}/messages")
def agree(hand: AnyHand, code: Code, sent: Consent) -> ConsentOut:
    """Write down what the patient agrees to."""
    care.agree(hand, code, sent)
    return _consent(hand, known_patient(hand, code).id)


@router.delete("/patients/{code}/messages", status_code=204)
def stop(hand: AnyHand, code: Code) -> None:
    """The patient wants no more messages; what waits does not go out either."""
    care.stop(hand, code)


@router.post("/patients/{code}/following", status_code=204)
def following(hand: AnyHand, code: Code, sent: Following) -> None:
    """Moved away, died, or followed again."""
    care.say_following(hand, code, sent)


@router.get("/not-followed")
def not_followed(hand: AnyHand) -> list[NotFollowedOut]:
    """Everybody who is not followed any more, and why."""
    return [
        NotFollowedOut.of(line.standing, patient=person_of(line.who, hand.today))
        for line in care.not_followed(hand)
    ]


@router.post("/patients/{code}/take-back", status_code=204)
def take_back(hand: AnyHand, code: Code, sent: Entry) -> None:
    """Take back what was noted today by mistake; the patient's ``noted`` names it."""
    care.undo(hand, code, sent)


def _consent(hand: DeskHand, patient_id: int) -> ConsentOut:
    with hand.store.read() as session:
        found = message_choice(session, patient_id)
    if found is None:
        return ConsentOut(
            asked=False, consent=False, reader="patient", channel="paper", address="", stopped_at=None
        )
    return ConsentOut.of(found, asked=True)
