"""What only a surgeon says of a patient: lost, refused, followed again."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from followup.care.act import Act, Line
from followup.care.hand import Hand
from followup.errors import FollowupError
from followup.recall.reach.ladder import ForSurgeon, declare_lost, for_surgeon
from followup.recall.reach.worklist import line_of
from followup.records.desk.attempts import set_standing
from followup.records.people.patients import known, patient_by_code
from followup.records.store.store import Session
from followup.said import say


class Standing(Act):
    """What the surgeon says of a patient."""

    standing: Literal["followed", "refused", "moved away", "died", "lost to follow-up"]
    reason: Annotated[Line, Field(min_length=1)]


def say_standing(hand: Hand, code: str, sent: Standing) -> None:
    """Store what the surgeon says of a patient; lost to follow-up only where the rule allows it.

    Errors: ``standing.word``, those of ``declare_lost`` and of ``set_standing``.
    """
    with hand.store.write(hand.actor, hand.now) as unit:
        item = _to_decide(unit.session, hand, code)
        if sent.standing == "lost to follow-up" and item:
            declare_lost(unit, item.line, hand.protocol.recall, reason=sent.reason)
        elif sent.standing in ("refused", "moved away", "died", "followed"):
            number = item.line.patient.id if item else known(unit.session, code).id
            set_standing(unit, patient_id=number, standing=sent.standing, reason=sent.reason)
        else:
            raise FollowupError(
                "standing.word",
                say("this can't be said of this patient now"),
                fix=say("choose from the list"),
            )


def _to_decide(session: Session, hand: Hand, code: str) -> ForSurgeon | None:
    who = patient_by_code(session, code)
    line = line_of(session, hand.now, hand.protocol.recall, who.id) if who else None
    return next(iter(for_surgeon([line] if line else [], hand.protocol.recall, hand.today)), None)
