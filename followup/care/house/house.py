"""What the house itself decides: its protocol, the bottles on its shelf, its messages."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from followup.care.act import Act, Line, Password
from followup.care.hand import Hand
from followup.care.password_again import must_match
from followup.errors import FollowupError
from followup.records.people.messages import try_again
from followup.records.plans.protocols import sign_protocol
from followup.said import say
from followup.sheets.paper.protocol_print import must_print


class Approval(Act):
    """``hash`` is that of the protocol as it was read."""

    hash: Annotated[Line, Field(min_length=1)]
    password: Password


def approve(hand: Hand, sent: Approval) -> None:
    """Sign the protocol that was read, with the password once more.

    What is signed already stays so. Errors: ``protocol.changed``, ``password.wrong``, those of
    ``must_print`` and of ``sign_protocol``.
    """
    protocol = hand.protocol
    if sent.hash != protocol.hash:
        raise FollowupError(
            "protocol.changed", say("the protocol has changed"), fix=say("read it again, then sign")
        )
    if hand.approved:
        return
    must_print(protocol)
    must_match(hand, sent.password)
    with hand.store.write(hand.actor, hand.now) as unit:
        sign_protocol(unit, hash=protocol.hash, name=protocol.name, version=protocol.version)


def send_again(hand: Hand, message_id: int) -> None:
    """Put a failed message back into the queue; the next minute's run sends it under its old key."""
    with hand.store.write(hand.actor, hand.now) as unit:
        try_again(unit, message_id=message_id)
