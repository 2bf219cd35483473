"""Reaching those who did not come, and what a patient agreed to be sent."""

from __future__ import annotations

from datetime import date

from followup.care.reach import reach
from followup.care.reach.calls import calls_of
from followup.care.reach.reach import Attempt, days_to_promise, reach_item, script_of
from followup.clinical.careplan import Tier
from followup.clinical.protocol.recall import OUTCOMES, AttemptOutcome, Way
from followup.clinical.record.base import Day
from followup.desks.api.base import Code, Given, router_of
from followup.desks.api.people import Person, person_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.recall.messages.wording import MessageKind
from followup.recall.reach.line import ReachKind, ToReach
from followup.recall.reach.worklist import reason, worklist

router = router_of("Reaching patients")


class Reach(Given):
    """Someone whom reception must reach, most pressing first; ``why`` in a sentence.

    ``waits``: the next attempt is not due before ``next_on``. ``to_move``: visits, by id, on a day
    that does not offer what they are for.
    """

    patient: Person
    kind: ReachKind
    tier: Tier
    days: int
    since: date
    why: str
    next_way: Way | None
    next_on: date | None
    waits: bool
    to_move: list[int]


class AttemptOut(Given):
    """An attempt and what came of it."""

    day: date
    by: str
    way: Way
    outcome: AttemptOutcome
    promised: date | None
    note: str
    number: str


class CallOut(Given):
    """What to try now: ``script`` are the words to say, in ``script_language``,
    ``own_script`` the same in the language of whoever calls.

    ``days`` may be promised: inside the limit of the tier, and with a place.
    """

    reach: Reach
    way: Way
    outcomes: list[AttemptOutcome]
    script: str
    script_language: str
    own_script: str
    days: list[date]
    tried: list[AttemptOut]


class CallLineOut(Given):
    """Whom to call for what, and what to say in their language."""

    kind: MessageKind
    patient: Person
    language: str
    script: str


@router.get("/to-reach")
def to_reach(hand: AnyHand) -> list[Reach]:
    """Whom to reach today, in order."""
    with hand.store.read() as session:
        items = worklist(session, hand.now, hand.protocol.recall)
    return [_reach(hand, item) for item in items]


@router.get("/patients/{code}/call")
def call(hand: AnyHand, code: Code) -> CallOut:
    """What to try next, with the words to say."""
    item = reach_item(hand, code)
    way, script, tag, own = script_of(hand, item)
    with hand.store.read() as session:
        days = list(days_to_promise(session, hand, item))
    return CallOut(
        reach=_reach(hand, item),
        way=way,
        outcomes=list(OUTCOMES[way]),
        script=script,
        script_language=tag,
        own_script=own,
        days=days,
        tried=[AttemptOut.model_validate(one) for one in item.tried],
    )


@router.post("/patients/{code}/attempts")
def attempt(hand: AnyHand, code: Code, sent: Attempt) -> AttemptOut:
    """Write down what came of an attempt; the ladder says what is next."""
    return AttemptOut.of(reach.attempt(hand, code, sent))


@router.get("/calls")
def calls(hand: AnyHand, on: Day | None = None) -> list[CallLineOut]:
    """The calls of a day, today without one: whoever agreed to no messages is told by a person."""
    found = calls_of(hand, on or hand.today)
    return [
        CallLineOut(
            kind=kind,
            patient=person_of(one.wanted.patient, hand.today),
            language=one.wanted.language,
            script=one.wanted.text,
        )
        for kind, lines in found.items()
        for one in lines
    ]


def _reach(hand: DeskHand, item: ToReach) -> Reach:
    return Reach.of(
        item,
        patient=person_of(item.patient, hand.today),
        why=reason(item, hand.texts.translator),
        next_way=item.next.way if item.next else None,
        next_on=item.next.on if item.next else None,
        to_move=[each.trip_id for each in item.to_move if each.trip_id is not None],
    )
