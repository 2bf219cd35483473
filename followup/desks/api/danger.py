"""Eyes in danger until someone closes them, and the checks before a patient leaves on the day of surgery."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import Field

from followup.care.before_leaving import checks_to_do
from followup.care.danger import InDanger, in_danger
from followup.clinical.record import Eye
from followup.clinical.record.findings import MOST_MMHG
from followup.clinical.review.proposal import Outcome
from followup.desks.api.base import Code, Given, Line, Sent, router_of
from followup.desks.api.people import Person, person_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.surgeon.alerts import AlertId, close_one
from followup.desks.surgeon.leaving import note_check

router = router_of("Eyes")


class AlertOut(Given):
    """What stands open about a patient: ``signs`` said yes to at the window, or findings for a senior.

    ``words`` are the patient's as typed; ``day`` that of the visit or the look.
    """

    id: int
    patient: Person
    kind: Literal["walk-in", "senior review"]
    eye: Eye | None
    day: date
    signs: list[str]
    words: str
    opened_at: datetime
    opened_by: str


class Closed(Sent):
    """``word``: what was done."""

    word: Annotated[Line, Field(min_length=1)]


class CheckOut(Given):
    """A check of today that nobody has noted yet, by its ``key``.

    ``earliest`` and ``latest`` are clock times, null where the end of the operation is not recorded.
    """

    patient: Person
    key: str
    kind: str
    eye: Eye
    text: str
    earliest: str | None
    latest: str | None


class Checked(Sent):
    """The pressure in mmHg, or why the patient goes without it; exactly one of the two."""

    key: Annotated[Line, Field(min_length=1)]
    mmhg: Annotated[float, Field(strict=True, ge=0, le=MOST_MMHG)] | None = None
    why: Line = ""


class CheckedOut(Given):
    """What the pressure leads to; null where it was not measured or nothing can be proposed."""

    outcome: Outcome | None


@router.get("/alerts")
def alerts(hand: AnyHand) -> list[AlertOut]:
    """Everybody about whom something stands open: walk-ins first, then longest open first."""
    with hand.store.read() as session:
        return [alert_out(hand, one) for one in in_danger(session)]


@router.post("/patients/{code}/alerts/{alert}/close", status_code=204)
def close(hand: AnyHand, code: Code, alert_id: AlertId, sent: Closed) -> None:
    """Say what was done. Closed twice it is closed once."""
    close_one(hand, code, alert_id, sent.word)


@router.get("/leaving")
def leaving(hand: AnyHand) -> list[CheckOut]:
    """The checks before leaving that are still to do today, by the hour from which they are due."""
    with hand.store.read() as session:
        found = checks_to_do(session, hand)
    return [
        CheckOut(
            patient=person_of(one.who, hand.today),
            key=one.check.key,
            kind=one.check.kind,
            eye=one.check.eye,
            text=one.check.text,
            earliest=one.check.earliest,
            latest=one.check.latest,
        )
        for one in found
    ]


@router.post("/patients/{code}/leaving")
def checked(hand: AnyHand, code: Code, sent: Checked) -> CheckedOut:
    """Note a check before leaving; a pressure is a finding of today like any other."""
    mmhg = "" if sent.mmhg is None else f"{sent.mmhg:g}"
    return CheckedOut(outcome=note_check(hand, code, sent.key, mmhg=mmhg, why=sent.why)[1])


def alert_out(hand: DeskHand, one: InDanger) -> AlertOut:
    """An alert as a program is given it."""
    alert = one.alert
    return AlertOut(
        id=alert.id,
        patient=person_of(one.who, hand.today),
        kind=alert.kind,
        eye=alert.eye,
        day=alert.day,
        signs=list(alert.signs),
        words=alert.words,
        opened_at=alert.opened_at,
        opened_by=alert.opened_by,
    )
