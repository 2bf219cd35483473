"""Queueing what a day asks for, and sending what is due: at least once, each under one key.

A message is claimed by one server, handed on outside any transaction, and then marked. A server
that dies in between leaves a claim that runs out; the message is tried again under the same key,
by which a gateway or mailbox can tell that it is the same one.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from typing import Literal, cast
from zoneinfo import ZoneInfo

from followup.clinical.protocol.protocol import Protocol
from followup.recall.messages.channels import NotSentError, Sender
from followup.recall.messages.clock import why_messages_wait
from followup.recall.messages.handing_on import NoAnswerError, hand_on
from followup.recall.messages.wanted import WantedMessage, earliest_try, may_go_out, wanted
from followup.recall.messages.wording import MessageKind
from followup.records.channels import Channel
from followup.records.desk.attempts import standing_word
from followup.records.house.clinics import clinic_zone
from followup.records.people.addresses import is_usable
from followup.records.people.messages import (
    Message,
    claim_message,
    due_messages,
    finish_message,
    message_choice,
    queue_message,
    write_anew,
)
from followup.records.store.store import Session, Store
from followup.records.views import SYSTEM

SENDING = "sending"
# Minutes until the next try after each that failed; after the last one a person must look.
BACKOFF = (1, 5, 15, 60, 240)
Result = Literal["sent", "again", "failed", "left_out"]
# What each kind and day still asks for, worked out once in a pass.
_Still = dict[tuple[MessageKind, date], dict[str, WantedMessage]]
_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Queued:
    """``new``: queued now; ``paper``: lines of the call list; ``too_late``: no longer of use."""

    new: int
    paper: int
    too_late: int


@dataclass(frozen=True)
class SentMessages:
    """What one pass did with the messages that were due. ``silent``: ways out that gave no answer."""

    sent: int = 0
    again: int = 0
    failed: int = 0
    left_out: int = 0
    silent: tuple[str, ...] = ()


def queue_day(store: Store, kind: MessageKind, day: date, now: datetime, protocol: Protocol) -> Queued:
    """Queue the messages of ``day`` that are still of use ``now``; twice queues none twice."""
    with store.read() as session:
        zone = clinic_zone(session)
        found = wanted(session, kind, day, protocol)
    today = now.astimezone(zone).date()
    useful = [one for one in found if one.last_useful >= today]
    queued = [one for one in useful if one.channel != "paper"]
    new = sum(_queue(store, one, now, earliest_try(now, zone, protocol)) for one in queued)
    return Queued(new, len(useful) - len(queued), len(found) - len(useful))


def send_due(
    store: Store,
    senders: Mapping[Channel, Sender],
    protocol: Protocol,
    *,
    owner: str,
    clock: Callable[[], datetime],
    limit: int = 50,
    stopped: Callable[[], bool] = lambda: False,
) -> SentMessages:
    """Send what is due, outside the quiet hours; what no longer makes sense is left out, and says why.

    Each message has a thread of its own and a time limit, so that none holds up another. ``stopped``:
    the program ends; what is under way is left to the next start, under the same key.
    """
    now = clock()
    with store.read() as session:
        zone = clinic_zone(session)
        goes = may_go_out(now, zone, protocol) and not why_messages_wait(session)
        due = due_messages(session, now, limit=limit) if goes else ()
    results: list[Result] = []
    silent: set[str] = set()
    still: _Still = {}

    def begin(message: Message) -> Callable[[], None] | None:
        """What hands the message on; None where there is nothing to hand on."""
        if not may_go_out(clock(), zone, protocol):
            return None
        found = _begin(store, senders, protocol, message, owner, clock(), zone, still)
        if isinstance(found, str):
            results.append(found)
        return None if found is None or isinstance(found, str) else found

    def end(message: Message, problem: BaseException | None) -> None:
        results.append(_end(store, message, owner, clock(), problem))
        if isinstance(problem, NoAnswerError):
            silent.add(message.channel)

    silent |= hand_on(due, begin, end, stopped=stopped)
    return SentMessages(
        results.count("sent"),
        results.count("again"),
        results.count("failed"),
        results.count("left_out"),
        tuple(sorted(silent)),
    )


def _queue(store: Store, one: WantedMessage, now: datetime, first_try: datetime) -> bool:
    with store.write(SYSTEM, now) as unit:
        return queue_message(
            unit,
            patient_code=one.patient.code,
            key=one.key,
            patient_id=one.patient.id,
            kind=one.kind,
            day=one.day,
            last_useful=one.last_useful,
            next_try=first_try,
            **_content(one),
        )


def _begin(
    store: Store,
    senders: Mapping[Channel, Sender],
    protocol: Protocol,
    message: Message,
    owner: str,
    now: datetime,
    zone: ZoneInfo,
    still: _Still,
) -> Callable[[], None] | Result | None:
    """Claim the message: how it is handed on, or what came of it, or None where another server has it."""
    with store.upkeep(now) as unit:
        if not claim_message(unit, message_id=message.id, owner=owner):
            return None
    same = _same(store, message, protocol, still)
    why_not = _obsolete(message, same, now, zone)
    if same is None or why_not:
        with store.write(SYSTEM, now) as unit:
            finish_message(unit, message, owner=owner, state="left out", error=why_not)
        return "left_out"
    content = _content(same)
    if any(getattr(message, name) != value for name, value in content.items()):
        # Another number, another reader or another language since it was queued: never the old one.
        with store.write(SYSTEM, now) as unit:
            write_anew(unit, message, owner=owner, **content)
        return "again"
    sender = senders.get(message.channel)
    if sender is None:
        problem = NotSentError(f"no way out is set up for {message.channel}")
        return _end(store, message, owner, now, problem)
    if not is_usable(message.channel, message.address):
        said = f"{message.address or 'an empty address'} is none that a message can go to"
        return _end(store, message, owner, now, NotSentError(said, lasting=True))
    return partial(sender.send, message)


def _end(store: Store, message: Message, owner: str, now: datetime, problem: BaseException | None) -> Result:
    """Write down what came of the try."""
    if problem is None:
        with store.write(SYSTEM, now) as unit:
            finish_message(unit, message, owner=owner, state="sent")
        return "sent"
    if not isinstance(problem, Exception):
        raise problem  # the program itself is being ended
    if not isinstance(problem, NotSentError):
        _log.error("message %s can't be handed on", message.key, exc_info=problem)
        problem = NotSentError(f"it can't be handed on: {type(problem).__name__}")
    return _not_sent(store, message, owner, now, problem)


def _same(store: Store, message: Message, protocol: Protocol, still: _Still) -> WantedMessage | None:
    """The message as it is asked for now; None where it is not any more."""
    kind = cast(MessageKind, message.kind)
    with store.read() as session:
        known = still.get((kind, message.day))
        same = known.get(message.key) if known is not None else None
        if known is None or (same is not None and _was_changed(session, same)):
            known = {one.key: one for one in wanted(session, kind, message.day, protocol)}
            still[kind, message.day] = known
            same = known.get(message.key)
    return same


def _was_changed(session: Session, same: WantedMessage) -> bool:
    """Whether somebody died, stopped or changed the number since the pass began: a pass takes a minute."""
    said = message_choice(session, same.patient.id)
    return said != same.choice or standing_word(session, same.patient.id) != "followed"


def _obsolete(message: Message, same: WantedMessage | None, now: datetime, zone: ZoneInfo) -> str:
    """Why the message is of no use any more; empty where it still is."""
    if message.last_useful < now.astimezone(zone).date():
        return "too late to be of use"
    if same is None:
        return "no longer wanted: moved, seen, planned again or not followed"
    return "stopped by the patient" if same.channel == "paper" else ""


def _content(one: WantedMessage) -> dict[str, object]:
    """What is written, and to whom."""
    return {
        "language": one.language,
        "reader": one.choice.reader,
        "channel": one.channel,
        "address": one.choice.address,
        "text": one.text,
        "segments": one.segments,
    }


def _not_sent(store: Store, message: Message, owner: str, now: datetime, error: NotSentError) -> Result:
    over = error.lasting or message.tries >= len(BACKOFF)
    following = now + timedelta(minutes=BACKOFF[min(message.tries, len(BACKOFF) - 1)])
    with store.write(SYSTEM, now) as unit:
        finish_message(
            unit,
            message,
            owner=owner,
            state="failed" if over else "waiting",
            next_try=following,
            error=str(error),
        )
        if not over:
            unit.log("message to be tried again", f"patient:{message.patient_code}", error=str(error))
    # The address stays in the store.
    said = str(error).replace(message.address, "what stands as the address") if message.address else error
    _log.warning("message %s not sent: %s", message.key, said)
    return "failed" if over else "again"
