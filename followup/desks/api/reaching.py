"""Reaching those who did not come, and what a patient agreed to be sent."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import Field

from followup.clinical.careplan import Tier
from followup.clinical.recall_rules import OUTCOMES, AttemptOutcome, Way
from followup.desks.api.base import Code, Day, Given, Line, Nonce, Sent, Truth, router_of
from followup.desks.api.people import Person, person_of
from followup.desks.desk import AnyVisit, Visit
from followup.desks.reaching import note_reached, reach_item, script_of
from followup.desks.recording import known_patient
from followup.desks.words import desk_translator
from followup.recall.worklist import Kind, ToReach, reason, worklist
from followup.records.messages import Channel, choose_messages, message_choice, stop_messages

router = router_of("Reaching patients")


class Reach(Given):
    """Someone whom reception must reach, most pressing first; ``why`` in a sentence.

    ``waits``: the next attempt is not due before ``next_on``.
    """

    patient: Person
    kind: Kind
    tier: Tier
    days: int
    since: date
    why: str
    next_way: Way | None
    next_on: date | None
    waits: bool


class AttemptOut(Given):
    """An attempt and what came of it."""

    day: date
    by: str
    way: Way
    outcome: AttemptOutcome
    promised: date | None
    note: str


class CallOut(Given):
    """What to try now: ``script`` are the words to say, in ``script_language``."""

    reach: Reach
    way: Way
    outcomes: list[AttemptOutcome]
    script: str
    script_language: str
    tried: list[AttemptOut]


class Attempt(Sent):
    """What came of an attempt; ``promised`` goes with "will come"."""

    nonce: Nonce
    way: Way
    outcome: AttemptOutcome
    promised: Day | None = None
    note: Line = ""


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


@router.get("/to-reach")
def to_reach(visit: AnyVisit) -> list[Reach]:
    """Whom to reach today, in order."""
    with visit.desk.store.read() as session:
        items = worklist(session, visit.now, visit.desk.protocol.recall)
    return [_reach(visit, item) for item in items]


@router.get("/patients/{code}/call")
def call(visit: AnyVisit, code: Code) -> CallOut:
    """What to try next, with the words to say."""
    item = reach_item(visit, code)
    way, script, tag = script_of(visit, item)
    return CallOut(
        reach=_reach(visit, item),
        way=way,
        outcomes=list(OUTCOMES[way]),
        script=script,
        script_language=tag,
        tried=[AttemptOut.model_validate(one) for one in item.tried],
    )


@router.post("/patients/{code}/attempts")
def attempt(visit: AnyVisit, code: Code, sent: Attempt) -> AttemptOut:
    """Write down what came of an attempt; the ladder says what is next."""
    stored = note_reached(
        visit,
        reach_item(visit, code),
        way=sent.way,
        outcome=sent.outcome,
        nonce=sent.nonce,
        promised=sent.promised,
        note=sent.note,
    )
    return AttemptOut.model_validate(stored)


@router.get("/patients/{code}/messages")
def consent(visit: AnyVisit, code: Code) -> ConsentOut:
    """What the patient agreed to be sent."""
    return _consent(visit, known_patient(visit, code).id)


@router.put("/patients/{code}/messages")
def agree(visit: AnyVisit, code: Code, sent: Consent) -> ConsentOut:
    """Write down what the patient agrees to."""
    who = known_patient(visit, code).id
    with visit.desk.store.write(visit.actor, visit.now) as unit:
        choose_messages(
            unit,
            patient_id=who,
            consent=sent.consent,
            reader=sent.reader,
            channel=sent.channel,
            address=sent.address,
        )
    return _consent(visit, who)


@router.delete("/patients/{code}/messages", status_code=204)
def stop(visit: AnyVisit, code: Code) -> None:
    """The patient wants no more messages; what waits does not go out either."""
    who = known_patient(visit, code).id
    with visit.desk.store.write(visit.actor, visit.now) as unit:
        stop_messages(unit, patient_id=who)


def _reach(visit: Visit, item: ToReach) -> Reach:
    return Reach(
        patient=person_of(item.patient, visit.today),
        kind=item.kind,
        tier=item.tier,
        days=item.days,
        since=item.since,
        why=reason(item, desk_translator(visit.language)),
        next_way=item.next.way if item.next else None,
        next_on=item.next.on if item.next else None,
        waits=item.waits,
    )


def _consent(visit: Visit, patient_id: int) -> ConsentOut:
    with visit.desk.store.read() as session:
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
