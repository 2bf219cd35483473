"""Eyes in danger until someone closes them, and the checks before a patient leaves on the day of surgery."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from followup.care.danger import Closed, InDanger, close_one, in_danger
from followup.care.looks.before_leaving import Checked, checks_to_do, note_check
from followup.clinical.record import Eye
from followup.clinical.review.proposal import Outcome
from followup.desks.api.base import Code, Given, router_of
from followup.desks.api.people import Person, person_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.surgeon.alerts import AlertId

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
    close_one(hand, code, alert_id, sent)


@router.get("/leaving")
def leaving(hand: AnyHand) -> list[CheckOut]:
    """The checks before leaving that are still to do today, by the hour from which they are due."""
    with hand.store.read() as session:
        found = checks_to_do(session, hand)
    return [CheckOut.of(one.check, patient=person_of(one.who, hand.today)) for one in found]


@router.post("/patients/{code}/leaving")
def checked(hand: AnyHand, code: Code, sent: Checked) -> CheckedOut:
    """Note a check before leaving; a pressure is a finding of today like any other."""
    return CheckedOut(outcome=note_check(hand, code, sent)[1])


def alert_out(hand: DeskHand, one: InDanger) -> AlertOut:
    """An alert as a program is given it."""
    return AlertOut.of(one.alert, patient=person_of(one.who, hand.today))
